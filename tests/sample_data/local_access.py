"""Browsers and scripts on the machine of a bench without accounts, which hold its secret."""

from pathlib import Path
from typing import Any

from fastapi import FastAPI
from fastapi.testclient import TestClient

from app.services.access.local_secret import browser_pass, ensure_secret, read_secret
from app.settings import Settings
from app.web.security.local_access import local_cookie_name

THIS_MACHINE = ("127.0.0.1", 50_000)


def local_browser(app: FastAPI, settings: Settings, **options: Any) -> TestClient:
    """A browser on this machine that has opened the printed link."""
    return TestClient(
        app, base_url="http://127.0.0.1", client=THIS_MACHINE, cookies=local_cookie(settings.data_folder), **options
    )


def local_cookie(folder: Path) -> dict[str, str]:
    """The cookie of such a browser."""
    secret = ensure_secret(folder)
    return {local_cookie_name(secret): browser_pass(secret)}


def local_script(folder: Path) -> dict[str, str]:
    """The header of a script that reads the file of the secret, as the README describes it."""
    return {"Authorization": f"Bearer {read_secret(folder)}"}
