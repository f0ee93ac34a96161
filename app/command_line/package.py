"""`hazefall package`: one zip from which every published number can be recomputed."""

import argparse
from pathlib import Path

from app.command_line.bench_folder import add_folder_argument, settings_of_present_bench
from app.command_line.progress_bar import progress_bar


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("out", metavar="OUT.zip", type=Path, help="output file; an older package is replaced")
    parser.add_argument(
        "--unit", metavar="UNIT", action="append", default=[], help="number, or maker and model (default: all units)"
    )
    add_folder_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    from app.services.data_package.write import write_package_file
    from app.services.store.open import open_store
    from app.services.units.by_name import unit_ids_from
    from app.storage.engine import session_scope

    with progress_bar() as on_progress:
        engine = open_store(settings_of_present_bench(arguments), on_progress)
        try:
            with session_scope(engine, writes=False) as session:
                chosen = unit_ids_from(session, arguments.unit) if arguments.unit else None
                packed = write_package_file(session, arguments.out, chosen, on_progress)
        finally:
            engine.dispose()
    size = arguments.out.stat().st_size / 1e6
    print(
        f"{arguments.out}: {size:.1f} MB; {packed.units} units, {packed.trials} trials including empty-room runs, "
        f"{packed.raw_files} raw files"
    )
    print(f"Digest (SHA-256 of datapackage.json): {packed.digest}")
    return 0
