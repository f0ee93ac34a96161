"""`hazefall check FOLDER`: a published folder against its edition."""

import argparse
from collections.abc import Iterable

from app.command_line.bench_folder import place, settings_from
from app.services.store.check import Finding
from app.settings import Settings


def check_published(arguments: argparse.Namespace) -> int:
    from app.services.publishing.check_folder import check_folder, edition_for
    from app.services.publishing.signature import signer_of
    from app.services.publishing.site_folder import MANIFEST, SIGNATURE
    from app.services.store.open import open_store
    from app.storage.engine import session_scope

    folder, settings, published = arguments.package, _settings_of_bench(arguments), None
    if settings is not None:
        engine = open_store(settings)
        try:
            with session_scope(engine, writes=False) as session:
                published = edition_for(session, folder)
        finally:
            engine.dispose()
    asked = arguments.data is not None or arguments.database is not None
    checked = check_folder(folder, published=published, digest=arguments.digest, store_asked=asked)
    findings, compared = list(checked.findings), list(checked.compared_with)
    if arguments.signers is not None:
        signer = signer_of((folder / MANIFEST).read_bytes(), folder / SIGNATURE, arguments.signers)
        if signer is None:
            findings.append(Finding(True, SIGNATURE, f"{MANIFEST} has no valid signature of anyone in the file."))
        else:
            compared.append(f"the signature of {signer}")
    print(f"{folder}: edition {checked.edition} of {checked.day}, {checked.files} files hashed")
    print(f"Digest: {checked.digest}")
    print_findings(findings)
    if any(finding.wrong for finding in findings):
        print("The folder is not the edition that was published; see above.")
        return 1
    if compared:
        where = f" of {place(settings)}" if settings is not None and published is not None else ""
        print(f"Every file is as published, compared with {' and '.join(compared)}{where}.")
    else:
        print(
            "Every file fits the folder's own manifest. That does not show that nobody altered a file and hashed it "
            "again: give --data with the bench, --digest, or --signers."
        )
    print("The files were hashed; no number was computed again. `hazefall package` makes a file for that.")
    return 0


def _settings_of_bench(arguments: argparse.Namespace) -> Settings | None:
    """The bench of the arguments, or the user's own where there is one."""
    from app.services.store.open import sqlite_file

    settings = settings_from(arguments)
    path = sqlite_file(settings.store_url)
    return None if path is not None and not path.exists() else settings


def print_findings(findings: Iterable[Finding]) -> None:
    for finding in findings:
        print(f"{'WRONG' if finding.wrong else 'note'}: {finding.message}")
