"""`hazefall restore`: restores a backup of the store."""

import argparse
from pathlib import Path

from app.command_line.bench_folder import add_folder_argument, settings_from


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("copy", metavar="FILE", type=Path, help="copy made by `hazefall backup` or before a migration")
    parser.add_argument(
        "--overwrite", action="store_true", help="replace an existing store; the old one stays beside it"
    )
    add_folder_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    from app.services.store.backup import restore_store

    restored = restore_store(settings_from(arguments), arguments.copy, overwrite=arguments.overwrite)
    counts = ", ".join(f"{number} {name.replace('_', ' ')}" for name, number in restored.rows.items())
    print(f"{restored.path}: restored from {arguments.copy}; {counts}")
    return 0
