"""`hazefall check --network`, through a real proxy with TLS that is set up as the README says."""

import re
import shutil
import ssl
import subprocess
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from app.command_line.main import run
from app.services.store.open import open_store
from app.settings import Settings
from app.storage.engine import session_scope
from tests.conftest import sqlite_only
from tests.faults.real_process import Served, run_command, served
from tests.sample_data.accounts import PASSWORD, make_account
from tests.web.security.real_proxy import caddy, free_port, nginx, require_nginx

pytestmark = sqlite_only

README = Path(__file__).parents[2].joinpath("README.md").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A certificate for localhost; its key is beside it."""
    require_nginx()
    openssl = shutil.which("openssl")
    if openssl is None:
        pytest.skip("openssl is not installed; this test makes a certificate with it.")
    path = tmp_path_factory.mktemp("certificate") / "bench.pem"
    subprocess.run(
        [openssl, "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=localhost",
         "-addext", "subjectAltName=DNS:localhost", "-keyout", path.with_suffix(".key"), "-out", path],
        check=True, capture_output=True,
    )  # fmt: skip
    return path


def readme_block(port: int, bench: str, certificate: Path) -> str:
    """The block of the README, with the ports, name and certificate of this test."""
    (block,) = re.findall(r"```nginx\n(.*?)```", README, re.DOTALL)
    for there, here in (
        ("listen 443 ssl", f"listen 127.0.0.1:{port} ssl"),
        ("bench.example.pem", str(certificate)),
        ("bench.example.key", str(certificate.with_suffix(".key"))),
        ("server_name bench.example", "server_name localhost"),
        ("http://127.0.0.1:8000", bench),
    ):
        assert there in block
        block = block.replace(f"/etc/ssl/{there}" if there.startswith("bench.example.") else there, here)
    return block


@pytest.fixture
def folder(store_template: Path, tmp_path: Path) -> Path:
    made = tmp_path / "bench"
    made.mkdir()
    shutil.copyfile(store_template, made / "bench.sqlite")
    engine = open_store(Settings(made))
    with session_scope(engine) as session:
        make_account(session, "Ann")
    engine.dispose()
    return made


def environment(**more: str) -> dict[str, str]:
    return {"HAZEFALL_ALLOWED_HOSTS": "localhost"} | more


@pytest.fixture
def behind_proxy(folder: Path) -> Iterator[Served]:
    with served(folder, environment(HAZEFALL_TRUSTED_PROXIES="127.0.0.1")) as server:
        yield server


def check(folder: Path, url: str, certificate: Path) -> subprocess.CompletedProcess[str]:
    return run_command(
        "check", "--data", str(folder), "--network", url, environment={"SSL_CERT_FILE": str(certificate)}
    )


def test_with_the_block_of_the_readme_all_is_well(
    folder: Path, behind_proxy: Served, certificate: Path, tmp_path: Path
):
    port = free_port()
    url = f"https://localhost:{port}/"
    with nginx(tmp_path / "nginx", port, readme_block(port, behind_proxy.url, certificate)):
        said = check(folder, url, certificate)
        assert said.stderr == ""
        assert said.returncode == 0, said.stdout
        assert said.stdout.splitlines() == [
            f"{url}: the bench sees scheme https, host localhost:{port}, client address 127.0.0.1",
            "The connection came from 127.0.0.1, a trusted proxy.",
            "The network is OK.",
        ]
        trust = ssl.create_default_context(cafile=str(certificate))
        with httpx.Client(base_url=url, verify=trust) as client:
            # a client that writes the headers itself gains nothing
            forged = {
                "X-Forwarded-Proto": "http",
                "X-Forwarded-Host": "evil.example",
                "Origin": f"https://localhost:{port}",
            }
            answer = client.post("/sign-in", data={"name": "Ann", "password": PASSWORD}, headers=forged)
            assert answer.status_code == 303
            assert "Secure" in answer.headers["set-cookie"]
            assert answer.headers["strict-transport-security"]
            assert client.get("/units").status_code == 200


def test_with_the_other_block_of_the_readme_all_is_well(
    folder: Path, behind_proxy: Served, certificate: Path, tmp_path: Path
):
    """Caddy makes a certificate for a public name by itself; this test gives it one."""
    port = free_port()
    url = f"https://localhost:{port}/"
    (block,) = re.findall(r"^bench\.example \{\n.*?^\}", README, re.DOTALL | re.MULTILINE)
    assert "127.0.0.1:8000" in block
    site = block.replace("127.0.0.1:8000", behind_proxy.url.removeprefix("http://")).replace(
        "bench.example {",
        f"localhost:{port} {{\n bind 127.0.0.1\n tls {certificate} {certificate.with_suffix('.key')}",
    )
    with caddy(tmp_path / "caddy", port, site):
        said = check(folder, url, certificate)
    assert said.returncode == 0, said.stdout + said.stderr
    assert said.stdout.splitlines() == [
        f"{url}: the bench sees scheme https, host localhost:{port}, client address 127.0.0.1",
        "The connection came from 127.0.0.1, a trusted proxy.",
        "The network is OK.",
    ]


def test_without_the_setting_the_command_names_it(folder: Path, certificate: Path, tmp_path: Path):
    port = free_port()
    with (
        served(folder, environment()) as server,
        nginx(tmp_path / "nginx", port, readme_block(port, server.url, certificate)),
    ):
        said = check(folder, f"https://localhost:{port}/", certificate)
        assert "HAZEFALL_TRUSTED_PROXIES=127.0.0.1" in server.said()  # in the log too
    assert said.returncode == 1
    assert "the bench sees scheme http, host 127.0.0.1:" in said.stdout
    assert "WRONG: A request came from 127.0.0.1 with the header “X-Forwarded-Proto: https”" in said.stdout
    assert f"WRONG: The address names the host localhost:{port}, but the bench sees 127.0.0.1:" in said.stdout


def test_a_token_of_the_check_works_once_and_for_nothing_else(folder: Path, behind_proxy: Served):
    from app.services.access.local_secret import NETWORK_CHECK, new_link_token

    bearer = {"Authorization": f"Bearer {new_link_token(folder, NETWORK_CHECK)}"}
    assert httpx.get(f"{behind_proxy.url}/api/units", headers=bearer).status_code == 401
    assert httpx.get(f"{behind_proxy.url}/api/network", headers=bearer).status_code == 200
    assert httpx.get(f"{behind_proxy.url}/api/network", headers=bearer).status_code == 401


def test_a_bench_without_accounts_says_why_it_refuses(tmp_path: Path):
    require_nginx()
    port = free_port()
    block = "location / { proxy_pass %s; proxy_set_header X-Forwarded-For $remote_addr; }"
    with (
        served(tmp_path / "bench") as server,
        nginx(tmp_path / "nginx", port, f"server {{ listen 127.0.0.1:{port}; {block % server.url} }}"),
    ):
        said = run_command("check", "--data", str(tmp_path / "bench"), "--network", f"http://127.0.0.1:{port}/")
    assert said.returncode == 1
    assert "WRONG: The request has headers of a proxy (x-forwarded-for), but 127.0.0.1 is not a trusted" in said.stdout
    assert "note: This bench has no account, so it answers nobody but its secret's owner" in said.stdout


def test_what_answers_but_is_no_bench_is_named(folder: Path, tmp_path: Path):
    require_nginx()
    port = free_port()
    with nginx(tmp_path / "nginx", port, f"server {{ listen 127.0.0.1:{port}; location / {{ return 200 '{{}}'; }} }}"):
        said = check(folder, f"http://127.0.0.1:{port}/", folder)
    assert said.returncode == 1
    assert "answered, but not as a bench does" in said.stderr


@pytest.mark.parametrize("url", ["bench.example", "ftp://bench.example", "https://", "http:///x"])
def test_what_is_no_address_is_refused(folder: Path, url: str, capsys: pytest.CaptureFixture[str]):
    assert run(["check", "--data", str(folder), "--network", url]) == 2
    assert f"{url!r} is not the address of a bench; enter one such as" in capsys.readouterr().err


def test_an_address_that_does_not_answer_is_named(folder: Path, capsys: pytest.CaptureFixture[str]):
    url = f"http://127.0.0.1:{free_port()}/"
    assert run(["check", "--data", str(folder), "--network", url]) == 1
    assert f"{url}api/network does not answer: " in capsys.readouterr().err
