"""Which bench a command uses: the given folder, the environment, or the user's data folder."""

import argparse
from dataclasses import replace
from pathlib import Path

from app.errors import StoreProblem
from app.settings import Settings, own_data_folder, read_settings


def add_folder_argument(parser: argparse.ArgumentParser, default: str = "HAZEFALL_DATA, or your data folder") -> None:
    parser.add_argument("--data", metavar="DIR", type=Path, help=f"folder of the bench (default: {default})")
    parser.add_argument("--database", metavar="URL", help="use a database server instead: postgresql://USER@HOST/NAME")


def add_address_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--host", metavar="H", help="address that the server listens on (default: 127.0.0.1)")
    parser.add_argument("--port", metavar="P", type=_port, help="its port (default: 8000; 0 to serve on any free port)")


def add_browser_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--no-browser", action="store_true", help="do not open a browser (none is opened without a terminal and screen)"
    )


def settings_from(arguments: argparse.Namespace, folder_name: str = "") -> Settings:
    """Settings of the environment, overridden by the command line.

    folder_name : folder beside the user's own bench, for the demonstration
    """
    own = own_data_folder()
    settings = read_settings(own)
    given: dict[str, object] = {
        name: getattr(arguments, name) for name in ("host", "port") if getattr(arguments, name, None) is not None
    }
    if getattr(arguments, "data", None) is not None:
        # a given folder means the store in it, whatever database the environment names
        given |= {"data_folder": arguments.data.expanduser().resolve(), "database_url": ""}
    elif folder_name:
        given |= {"data_folder": own.with_name(f"{own.name}-{folder_name}"), "database_url": ""}
    if getattr(arguments, "database", None) is not None:
        given |= {"database_url": arguments.database}
    found = replace(settings, **given)  # type: ignore[arg-type]
    if found.database_url:
        from app.services.store.open import refuse_unfit_address  # loaded when used: most benches are a file

        refuse_unfit_address(found.database_url)
    return found


def naming_options(arguments: argparse.Namespace, *of_folder: str) -> tuple[str, ...]:
    """Options by which another command names the same bench. `of_folder` : those of its folder, where none is given"""
    from app.services.store.copy import shown_address

    options = of_folder if arguments.data is None else ("--data", str(arguments.data))
    return options if arguments.database is None else (*options, "--database", shown_address(arguments.database))


def address(host: str, port: int) -> str:
    """URL for the browser."""
    shown = "localhost" if host in ("0.0.0.0", "::") else host
    return f"http://{f'[{shown}]' if ':' in shown else shown}:{port}/"


def place(settings: Settings) -> str:
    """The bench's location: its folder, or the database address without password."""
    from app.services.store.copy import shown_address

    return shown_address(settings.database_url) if settings.database_url else str(settings.data_folder)


def settings_of_present_bench(arguments: argparse.Namespace, folder_name: str = "") -> Settings:
    """Settings of an existing bench. Otherwise a mistyped folder would silently become a new, empty bench."""
    from app.services.store.open import sqlite_file, stored_revision

    settings = settings_from(arguments, folder_name)
    path = sqlite_file(settings.store_url)
    is_there = path.exists() if path is not None else stored_revision(settings.store_url, place(settings)) is not None
    if not is_there:
        raise StoreProblem(
            f"There is no bench in {place(settings)}. Choose its folder with --data, or its URL with --database."
        )
    return settings


def _port(text: str) -> int:
    if not text.isdecimal() or not 0 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"{text!r} is not a port; enter a whole number from 0 to 65535")
    return int(text)


def number_of_processes(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 64:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of processes; enter a whole number from 1 to 64")
    return int(text)
