"""`hazefall copy-store`: copies a bench between a SQLite file and a PostgreSQL database."""

import argparse

from app.command_line.progress_bar import progress_bar

_PLACE = "folder of a bench, a SQLite file, or postgresql://USER@HOST/NAME"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("source", metavar="FROM", help=f"{_PLACE}; it stays unchanged")
    parser.add_argument("target", metavar="TO", help=f"{_PLACE}; it must be empty")


def run(arguments: argparse.Namespace) -> int:
    from app.services.store.copy import copy_store

    with progress_bar() as on_progress:
        copied = copy_store(arguments.source, arguments.target, on_progress)
    shown = ("units_under_test", "trials", "raw_files", "readings", "changes")
    counts = ", ".join(f"{copied.rows[name]} {name.replace('_', ' ')}" for name in shown)
    print(f"{copied.source} copied to {copied.target}: {counts}; {sum(copied.rows.values())} rows in total")
    print(f"Read back and compared, table by table; SHA-256 of all rows {copied.sha256}")
    if copied.changed_meanwhile:
        print(
            "The source changed during the copy, so the copy is incomplete. Stop its server, and copy again into an "
            "empty store."
        )
    return 0
