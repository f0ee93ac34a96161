"""`hazefall check`: checks the store, a data package, a published folder or the network. Status 0 if sound."""

import argparse
from pathlib import Path

from app.command_line.bench_folder import add_folder_argument, number_of_processes, place, settings_of_present_bench
from app.command_line.progress_bar import progress_bar
from app.command_line.store.check_network import check_network
from app.command_line.store.check_published import check_published, print_findings


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "package",
        metavar="PACKAGE.zip or FOLDER",
        type=Path,
        nargs="?",
        help="data package to recompute from its raw files, or published folder to compare with its edition "
        "(default: check the store)",
    )
    parser.add_argument(
        "--network", metavar="URL", help="say what the bench sees of a request to this address, and what is wrong"
    )
    parser.add_argument(
        "--digest", metavar="SHA256", default="", help="digest of the edition or package, as noted when it was made"
    )
    parser.add_argument("--signers", metavar="FILE", type=Path, help="allowed signers, to verify the signature")
    parser.add_argument(
        "--workers", metavar="N", type=number_of_processes, help="processes for a package (default: one per core)"
    )
    add_folder_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    if arguments.network is not None:
        return _check_network(arguments)
    if arguments.package is None:
        return _check_store(arguments)
    return check_published(arguments) if arguments.package.is_dir() else _check_package(arguments)


def _check_network(arguments: argparse.Namespace) -> int:
    from app.services.access.authenticate import has_accounts
    from app.services.store.open import open_store

    settings = settings_of_present_bench(arguments)
    engine = open_store(settings)
    try:
        return check_network(settings.data_folder, arguments.network, has_accounts=has_accounts(engine))
    finally:
        engine.dispose()


def _check_store(arguments: argparse.Namespace) -> int:
    from app.services.store.check import check_store
    from app.services.store.open import open_store_to_read

    settings = settings_of_present_bench(arguments)
    with progress_bar() as on_progress:
        engine = open_store_to_read(settings)
        try:
            checked = check_store(engine, on_progress)
        finally:
            engine.dispose()
    counts = ", ".join(
        f"{checked.counted[name]} {name.replace('_', ' ')}" for name in ("trials", "logs", "raw_files", "readings")
    )
    print(f"{place(settings)}: {counts} checked")
    print_findings(checked.findings)
    print("The store is OK." if checked.sound else "The store has problems; see above.")
    return 0 if checked.sound else 1


def _check_package(arguments: argparse.Namespace) -> int:
    # loaded when used: they need pandas and scipy
    from app.services.data_package.check import check_package
    from app.services.results.rows import SAME_WITHIN

    with progress_bar() as on_progress:
        checked = check_package(arguments.package, on_progress, workers=arguments.workers, digest=arguments.digest)
    counts = ", ".join(f"{number} {name.replace('_', ' ')}" for name, number in checked.counted.items())
    print(f"{arguments.package}: {counts} checked")
    print_findings(checked.findings)
    print(f"Digest (SHA-256 of datapackage.json): {checked.digest}")
    if not checked.sound:
        print("The package has problems; see above.")
        return 1
    print(
        f"Recomputed from the raw files, each number the same within {SAME_WITHIN:.2%}: decays, rates, times, "
        "summaries and costs."
    )
    entered = ", ".join(f"{number} {words}" for words, number in checked.as_entered.items())
    print(f"As entered, which nothing in the package can recompute: {entered or 'nothing'}.")
    print(f"Only hashed: {', '.join(checked.hashed) or 'no further file'}.")
    if arguments.digest:
        print("The digest is the given one, so these are as they were when the package was made.")
    else:
        print("Whoever alters these can hash them again; --digest compares with the digest of the package as made.")
    return 0
