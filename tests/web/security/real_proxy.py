"""A real reverse proxy (nginx or Caddy) on loopback, in front of a server of a test."""

import os
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

NGINX = shutil.which("nginx") or shutil.which("nginx", path="/usr/sbin:/usr/local/sbin")
_START_WITHIN_S = 20.0
_CONFIGURATION = """
daemon off;
worker_processes 1;
pid {folder}/nginx.pid;
error_log stderr;
events {{ worker_connections 64; }}
http {{
    access_log off;
    client_body_temp_path {folder}/body;
    proxy_temp_path {folder}/proxy;
    fastcgi_temp_path {folder}/fastcgi;
    uwsgi_temp_path {folder}/uwsgi;
    scgi_temp_path {folder}/scgi;
    {server}
}}
"""


def require_nginx() -> str:
    """The program; the test is skipped where it is not installed, and fails where it must run."""
    if NGINX is None:
        if os.environ.get("CI"):
            pytest.fail("nginx is not installed, and the tests with a real proxy must run in CI.")
        pytest.skip("nginx is not installed; this test needs a real reverse proxy.")
    return NGINX


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def nginx(folder: Path, port: int, server: str) -> Iterator[None]:
    """nginx with one `server` block, which listens on the port, until the block ends."""
    folder.mkdir()
    folder.chmod(0o755)
    configuration = folder / "nginx.conf"
    configuration.write_text(_CONFIGURATION.format(folder=folder, server=server))
    with (folder / "said").open("w") as said:
        process = subprocess.Popen(
            [require_nginx(), "-c", str(configuration), "-p", str(folder), "-g", "user root;" * (os.geteuid() == 0)],
            stdout=said,
            stderr=said,
        )
    try:
        _wait_for(port, process, folder / "said")
        yield
    finally:
        process.terminate()
        process.wait(_START_WITHIN_S)


@contextmanager
def caddy(folder: Path, port: int, site: str) -> Iterator[None]:
    """Caddy with one site, which listens on the port, until the block ends; the test is skipped without it."""
    program = shutil.which("caddy")
    if program is None:
        pytest.skip("caddy is not installed; this test needs it as a real reverse proxy.")
    folder.mkdir()
    configuration = folder / "Caddyfile"
    configuration.write_text(f"{{\n admin off\n auto_https disable_redirects\n}}\n{site}")
    own = os.environ | {name: str(folder) for name in ("HOME", "XDG_DATA_HOME", "XDG_CONFIG_HOME")}
    with (folder / "said").open("w") as said:
        command = [program, "run", "--config", str(configuration), "--adapter", "caddyfile"]
        process = subprocess.Popen(command, stdout=said, stderr=said, env=own)
    try:
        _wait_for(port, process, folder / "said")
        yield
    finally:
        process.terminate()
        process.wait(_START_WITHIN_S)


def _wait_for(port: int, process: subprocess.Popen[bytes], said: Path) -> None:
    end = time.monotonic() + _START_WITHIN_S
    while time.monotonic() < end and process.poll() is None:
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.05)
    raise RuntimeError(f"the proxy did not start: {said.read_text()}")
