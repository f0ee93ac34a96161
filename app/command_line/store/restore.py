"""`hazefall restore`: restores a backup of the store."""

import argparse
from pathlib import Path

from app.command_line.bench_folder import add_folder_argument, settings_from
from app.command_line.progress_bar import progress_bar

_SHOWN = 10


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("copy", metavar="FILE", type=Path, help="copy made by `hazefall backup` or before a migration")
    parser.add_argument(
        "--overwrite", action="store_true", help="replace an existing store; the old one stays beside it"
    )
    parser.add_argument(
        "--rehearse",
        action="store_true",
        help="restore into a temporary folder, check it, recompute a sample of results, and change nothing",
    )
    add_folder_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    from app.services.store.backup import restore_store

    if arguments.rehearse:
        return _rehearse(arguments.copy)
    restored = restore_store(settings_from(arguments), arguments.copy, overwrite=arguments.overwrite)
    counts = ", ".join(f"{number} {name.replace('_', ' ')}" for name, number in restored.rows.items())
    print(f"{restored.path}: restored from {arguments.copy}; {counts}")
    return 0


def _rehearse(copy: Path) -> int:
    from app.command_line.difference_lines import difference_lines, slightly
    from app.services.results.rehearse_restore import rehearse_restore  # loaded when used: it needs pandas and scipy

    with progress_bar() as on_progress:
        done = rehearse_restore(copy, on_progress)
    counts = ", ".join(f"{number} {name.replace('_', ' ')}" for name, number in done.rows.items())
    print(f"{copy}: opens as a bench; {counts}")
    for finding in done.findings:
        print(f"{'WRONG' if finding.wrong else 'note'}: {finding.message}")
    differ = len(done.differences)
    print(f"{done.trials} of {done.all_trials} trials analysed again; {differ} results differ{slightly(done.slight)}")
    for line in difference_lines(done.differences, _SHOWN):
        print(f"WRONG: {line}")
    if done.differences and done.older_method:
        print(f"note: another version of the method made the results of {done.older_method} of these trials.")
    print("The copy can be restored." if done.sound else "The copy has problems; see above. Keep older copies.")
    return 0 if done.sound else 1
