"""A real reverse proxy on the same machine, with the configuration that people write first, opens no bench."""

import re
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from app.settings import Settings
from tests.conftest import sqlite_only
from tests.faults.real_process import Served, served
from tests.sample_data.accounts import PASSWORD
from tests.web.security.real_proxy import free_port, nginx, require_nginx
from tests.web.security.test_authentication import routes

pytestmark = sqlite_only

BLOCKS = {
    "default": "",
    "host of the client": "proxy_set_header Host $host;",
    "host localhost": "proxy_set_header Host localhost;",
    "no host": 'proxy_set_header Host "";',
    "usual headers": "proxy_set_header Host $host; proxy_set_header X-Forwarded-For $proxy_add_x_forwarded_for;",
}


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    require_nginx()
    with served(tmp_path_factory.mktemp("behind_a_proxy") / "bench") as server:
        yield server


@pytest.mark.parametrize("block", BLOCKS)
def test_through_a_proxy_every_route_is_locked(bench: Served, tmp_path: Path, block: str):
    port = free_port()
    location = f"location / {{ proxy_pass {bench.url}; {BLOCKS[block]} }}"
    with (
        nginx(tmp_path / "nginx", port, f"server {{ listen 127.0.0.1:{port}; {location} }}"),
        httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=20) as client,
    ):
        assert client.get("/api/health").status_code == (421 if block == "no host" else 200)
        answered = {}
        for route in [*routes(), "GET /api/openapi.json", "GET /no-such-page"]:
            method, path = route.split(" ")
            if path != "/api/health":
                answered[route] = client.request(method, re.sub(r"{[^}]*}", "999", path)).status_code
        assert answered == dict.fromkeys(answered, 421 if block == "no host" else 401)
        assert len(answered) > 150
        new = {"name": "Eve", "role": "administer", "password": PASSWORD}
        assert client.post("/accounts", data=new).status_code in (401, 421)
        # through such a proxy even the secret opens nothing, where the proxy tells of itself
        if "X-Forwarded-For" in BLOCKS[block]:
            assert client.get("/units", headers=bench.headers).status_code == 401
    own = httpx.get(f"{bench.url}/accounts", headers=bench.headers)
    assert "There are no accounts" in own.text


def test_a_proxy_setting_without_an_account_is_refused(settings: Settings):
    """The bench behind this proxy is told its name first, and is not served."""
    from tests.faults.real_process import run_command

    said = run_command(
        "serve", "--data", str(settings.data_folder), "--port", "0", environment={"HAZEFALL_ALLOWED_HOSTS": "b.example"}
    )
    assert said.returncode == 1
    assert said.stdout == ""
    assert "reachable by others (HAZEFALL_ALLOWED_HOSTS=b.example), but it has no account" in said.stderr
    assert "hazefall account add NAME --role administer" in said.stderr
