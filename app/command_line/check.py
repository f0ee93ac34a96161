"""`hazefall check`: checks the store. Status 0 where it is sound, 1 where something is wrong."""

import argparse

from app.command_line.bench_folder import add_folder_argument, settings_from
from app.command_line.progress_bar import progress_bar


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_folder_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    from app.services.check_store import check_store
    from app.services.open_store import open_store

    settings = settings_from(arguments)
    with progress_bar() as on_progress:
        engine = open_store(settings, on_progress)
        try:
            checked = check_store(engine, on_progress)
        finally:
            engine.dispose()
    counts = ", ".join(
        f"{checked.counted[name]} {name.replace('_', ' ')}" for name in ("trials", "logs", "raw_files", "readings")
    )
    print(f"{settings.data_folder}: {counts} checked")
    for finding in checked.findings:
        print(f"{'WRONG' if finding.wrong else 'note'}: {finding.message}")
    print("The store is sound." if checked.sound else "The store is not sound; see above.")
    return 0 if checked.sound else 1
