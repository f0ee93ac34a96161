"""Settings: one frozen object, read from the environment at program start."""

import os
from dataclasses import dataclass
from ipaddress import ip_network
from pathlib import Path

from app.errors import InvalidValue

DEFAULT_PORT = 8000


@dataclass(frozen=True, slots=True)
class Settings:
    """Location of the bench, and limits of the server.

    data_folder : folder of the store, its backups and staged uploads
    database_url : SQLAlchemy address of the store; empty for `bench.sqlite` in the data folder
    backup_folder : second place for scheduled backups; None for `backups/scheduled` in the data folder
    max_upload_bytes : largest accepted request body [bytes]
    allowed_hosts : host names under which the server answers, besides the loopback names
    trusted_proxies : addresses or networks of proxies whose headers name scheme, host and client of a request
    host, port : where the server listens
    """

    data_folder: Path
    database_url: str = ""
    backup_folder: Path | None = None
    max_upload_bytes: int = 200_000_000
    allowed_hosts: tuple[str, ...] = ()
    trusted_proxies: tuple[str, ...] = ()
    host: str = "127.0.0.1"
    port: int = DEFAULT_PORT

    @property
    def store_url(self) -> str:
        return self.database_url or sqlite_url(self.data_folder / "bench.sqlite")


def sqlite_url(path: Path) -> str:
    """SQLAlchemy's address of a file; in an address % and ? have a meaning of their own.

    >>> sqlite_url(Path("/100 % sure?/bench.sqlite"))
    'sqlite:////100 %25 sure%3F/bench.sqlite'
    """
    return f"sqlite:///{str(path).replace('%', '%25').replace('?', '%3F')}"


# Environment variables with their descriptions; a test compares them with the README.
ENVIRONMENT = {
    "HAZEFALL_DATA": "folder of the bench",
    "HAZEFALL_DATABASE_URL": "address of another database",
    "HAZEFALL_BACKUP_FOLDER": "folder for scheduled backups, best on another disk",
    "HAZEFALL_MAX_UPLOAD_BYTES": "largest upload in bytes",
    "HAZEFALL_ALLOWED_HOSTS": "further host names, separated by commas",
    "HAZEFALL_TRUSTED_PROXIES": "addresses of proxies to trust, separated by commas",
    "HAZEFALL_HOST": "address to listen on",
    "HAZEFALL_PORT": "port to listen on",
    "HAZEFALL_TOKEN": "API token that `hazefall watch` sends",
    "HAZEFALL_MQTT_USER": "user at the broker of `hazefall watch mqtts://...`",
    "HAZEFALL_MQTT_PASSWORD": "password of that user",
    "HAZEFALL_MQTT_CA": "file with the certificate authority of that broker, if it is your own",
}


def own_data_folder() -> Path:
    """Where the operating system keeps the data of this user's programs."""
    from platformdirs import user_data_path  # loaded when used: a server is often given a folder

    return user_data_path("hazefall")


def read_settings(default_data_folder: Path | None = None) -> Settings:
    """Settings from the environment. Raises InvalidValue for an invalid number."""
    return Settings(
        data_folder=_folder("HAZEFALL_DATA") or default_data_folder or own_data_folder(),
        database_url=os.environ.get("HAZEFALL_DATABASE_URL", ""),
        backup_folder=_folder("HAZEFALL_BACKUP_FOLDER"),
        max_upload_bytes=_whole_number("HAZEFALL_MAX_UPLOAD_BYTES", 200_000_000),
        allowed_hosts=_listed("HAZEFALL_ALLOWED_HOSTS"),
        trusted_proxies=_networks("HAZEFALL_TRUSTED_PROXIES"),
        host=os.environ.get("HAZEFALL_HOST", "127.0.0.1"),
        port=_whole_number("HAZEFALL_PORT", DEFAULT_PORT, 65535),
    )


def _folder(name: str) -> Path | None:
    given = os.environ.get(name)
    try:
        return Path(given).expanduser() if given else None
    except RuntimeError as error:  # of ~NAME
        raise InvalidValue(f"{name} is {given!r}, and there is no such user here. Give the whole path.") from error


def _listed(name: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in os.environ.get(name, "").split(",") if part.strip())


def _networks(name: str) -> tuple[str, ...]:
    for address in _listed(name):
        try:
            ip_network(address, strict=False)
        except ValueError as error:
            raise InvalidValue(
                f"{name} names {address!r}, which is not an address. Use addresses such as 127.0.0.1 or networks "
                "such as 10.0.0.0/24, separated by commas."
            ) from error
    return _listed(name)


def _whole_number(name: str, default: int, most: int | None = None) -> int:
    text = os.environ.get(name)
    if not text:
        return default
    if not text.isdecimal() or int(text) == 0 or (most is not None and int(text) > most):
        needed = "a whole number above zero" if most is None else f"a whole number from 1 to {most}"
        raise InvalidValue(f"{name} is {text!r}; it must be {needed}. Correct it or unset it.")
    return int(text)
