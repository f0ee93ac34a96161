"""`hazefall link`: another link for a browser into a served bench without accounts."""

import argparse

from app.command_line.access.entry import Entry
from app.command_line.bench_folder import (
    add_address_arguments,
    add_folder_argument,
    address,
    naming_options,
    settings_of_present_bench,
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_folder_argument(parser)
    add_address_arguments(parser)
    parser.add_argument("--demo", action="store_true", help="a link into the demonstration bench")


def run(arguments: argparse.Namespace) -> int:
    from app.services.access.authenticate import has_accounts
    from app.services.store.open import open_store

    is_demo = arguments.demo and arguments.data is None
    settings = settings_of_present_bench(arguments, "demo" if is_demo else "")
    engine = open_store(settings)
    try:
        signs_in = has_accounts(engine)
    finally:
        engine.dispose()
    entry = Entry(None if signs_in else settings.data_folder, bench=naming_options(arguments, *["--demo"] * is_demo))
    for line in entry.lines(address(settings.host, settings.port)):
        print(line, flush=True)
    return 0
