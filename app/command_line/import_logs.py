"""`hazefall import`: adds many logs at once, from a folder or a list."""

import argparse
import sys
from pathlib import Path

from app.command_line.bench_folder import add_folder_argument, place, settings_from
from app.command_line.progress_bar import progress_bar

# Options for every log; a manifest can override them line by line.
_USUAL = {
    "maker": "maker of the unit",
    "model": "model of the unit",
    "setting": "setting of the unit",
    "room": "room",
    "logger": "logger",
    "smoke_source": "smoke source",
    "tested_by": "name of the tester",
    "filter_state": "state of the filter",
    "profile": "logger profile for reading the files",
    "timezone": "time zone of local times, such as Europe/Berlin",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", metavar="FOLDER", type=Path, help="folder with the logs")
    parser.add_argument(
        "--manifest", metavar="CSV", type=Path, help="list of the logs: a column “file”, one row per log"
    )
    for name, what in _USUAL.items():
        parser.add_argument(f"--{name.replace('_', '-')}", metavar="NAME", default="", help=f"{what}, for every log")
    parser.add_argument("--empty-room", action="store_true", help="the logs are empty-room runs")
    parser.add_argument("--add-missing", action="store_true", help="add missing units, settings and rooms")
    add_folder_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    from app.services.adding_trials.import_list import ImportLine, lines_of_folder, read_manifest
    from app.services.adding_trials.import_logs import import_logs  # loaded when used: it needs pandas and scipy
    from app.services.logs.trial_kinds import EMPTY_ROOM
    from app.services.store.open import open_store

    usual = ImportLine(
        file="",
        kind=EMPTY_ROOM if arguments.empty_room else "",
        **{name: getattr(arguments, name) for name in _USUAL},
    )
    listed = arguments.manifest
    lines = read_manifest(listed, usual) if listed else lines_of_folder(arguments.folder, usual)
    settings = settings_from(arguments)
    with progress_bar() as on_progress:
        engine = open_store(settings, on_progress)
        try:
            imported = import_logs(
                engine, arguments.folder, lines, add_missing=arguments.add_missing, on_progress=on_progress
            )
        finally:
            engine.dispose()
    added = sum(1 for one in imported if one.trial_id is not None)
    present = sum(1 for one in imported if one.present)
    failed = [one for one in imported if one.trial_id is None and not one.present]
    for one in failed:
        print(f"{one.line.file}: {one.message}", file=sys.stderr)
    print(f"{place(settings)}: {added} logs added, {present} already present, {len(failed)} not added")
    return 1 if failed else 0
