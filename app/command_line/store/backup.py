"""`hazefall backup`: a verified copy of the store."""

import argparse
from pathlib import Path

from app.command_line.bench_folder import add_folder_argument, settings_from
from app.command_line.progress_bar import progress_bar


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "target", metavar="FILE", type=Path, nargs="?", help="file or folder (default: backups/ in the data folder)"
    )
    add_folder_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    from app.services.store.backup import backup_store

    with progress_bar() as on_progress:
        copy = backup_store(settings_from(arguments), arguments.target, on_progress)
    counts = ", ".join(f"{number} {name.replace('_', ' ')}" for name, number in copy.rows.items())
    print(f"{copy.path}: {copy.size_bytes / 1e6:.1f} MB, verified; {counts}")
    return 0
