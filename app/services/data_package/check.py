"""Checks a data package: every file against its hash, and every number recomputed from the raw files.

The rows of the package are loaded into a temporary store. The raw files are read and the trials analysed again, and the
results are compared with those in the package.
"""

import hashlib
import json
import tempfile
import zipfile
import zlib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlalchemy import delete
from sqlalchemy.orm import Session

from app.compute.method import METHOD_VERSION
from app.compute.signal.logger_noise import LoggerNoise
from app.errors import InvalidValue
from app.services.data_package.compare import compare_results
from app.services.data_package.logs import read_packaged_logs
from app.services.data_package.open import OpenPackage, insert_rows
from app.services.data_package.tables import GIVEN_TABLES, values_from
from app.services.logs.logger_noise import NoiseByTrial, stored_noise
from app.services.results.recompute import accept_recompute, plan_recompute
from app.services.store.check import Finding
from app.services.store.open import open_store
from app.services.store.progress import OnProgress, no_progress
from app.settings import Settings
from app.storage.engine import session_scope
from app.storage.models.bench import Bench
from app.storage.models.summaries import BenchRepeatability

# Tables of what a person measured or read elsewhere and typed in, in words.
_ENTERED = {
    "sound_measurements": "sound levels",
    "power_measurements": "power levels without a log",
    "ozone_tests": "ozone tests",
    "ratings": "certified rates",
    "claims": "claims",
    "prices": "prices of units",
    "consumables": "parts",
    "consumable_prices": "prices of parts",
    "tariffs": "prices of electricity",
    "rooms": "room volumes",
}
MOST_BYTES_OF_A_FILE = 1_000_000_000
MOST_BYTES_OF_THE_DESCRIPTOR = 50_000_000  # JSON is read as a whole and takes many times its size in memory


@dataclass(frozen=True, slots=True)
class PackageCheck:
    """What was checked, with counts, and the findings.

    as_entered : rows by table that nothing in the package can recompute; hashed : files that were only hashed
    digest : SHA-256 of datapackage.json, which holds the hash of every file
    """

    counted: dict[str, int]
    findings: tuple[Finding, ...]
    digest: str = ""
    as_entered: dict[str, int] = field(default_factory=dict)
    hashed: tuple[str, ...] = ()

    @property
    def sound(self) -> bool:
        return not any(finding.wrong for finding in self.findings)


def check_package(
    path: Path, on_progress: OnProgress | None = None, *, workers: int | None = None, digest: str = ""
) -> PackageCheck:
    """Checks a package made by `write_package`. Raises InvalidValue for any other file.

    digest : one that was noted when the package was made
    workers : processes for the analysis; None: one per core
    """
    progress = on_progress or no_progress
    try:
        with zipfile.ZipFile(path) as file:
            package = OpenPackage(file, _descriptor(file, path))
            found = hashlib.sha256(file.read("datapackage.json")).hexdigest()
            if digest and found != digest.strip().lower():
                package.wrong(
                    "digest",
                    f"The package has the digest {found[:16]}…, not {digest[:16]}… as given: it is not the package "
                    "that was made, and values as entered may have been altered.",
                )
            _check_files(package, progress)
            if package.findings:
                return PackageCheck({"files": len(package.descriptor["resources"])}, tuple(package.findings), found)
            with tempfile.TemporaryDirectory(prefix="hazefall-check-") as folder:
                counted = _check_numbers(package, Path(folder), progress, workers)
            entered, hashed = _as_entered(package), _only_hashed(package)
    except (OSError, zipfile.BadZipFile, zlib.error, NotImplementedError) as error:
        raise InvalidValue(f"{path} cannot be read as a zip file: {error}. Choose a data package.") from error
    except (KeyError, ValueError) as error:
        raise InvalidValue(
            f"{path} is not a data package of this program: {error}. Pack it again with `hazefall package`."
        ) from error
    return PackageCheck(counted, tuple(package.findings), found, entered, hashed)


def _as_entered(package: OpenPackage) -> dict[str, int]:
    """Rows that were typed in at the bench. A power level from a log is computed again, so it does not count."""
    counted = {}
    for name, words in _ENTERED.items():
        rows = package.records(f"data/{name}.csv")
        counted[words] = sum(not row.get("log_id") for row in rows) if name == "power_measurements" else len(rows)
    return {words: number for words, number in counted.items() if number}


def _only_hashed(package: OpenPackage) -> tuple[str, ...]:
    """Files that enter no number, such as the text on the method and photos."""
    return tuple(path for path in package.paths() if not path.startswith(("data/", "results/", "raw/", "readings/")))


def _descriptor(file: zipfile.ZipFile, path: Path) -> dict[str, Any]:
    if "datapackage.json" not in file.namelist():
        raise InvalidValue(f"{path} holds no datapackage.json, so it is not a data package. Choose another file.")
    size = file.getinfo("datapackage.json").file_size
    if size > MOST_BYTES_OF_THE_DESCRIPTOR:
        raise InvalidValue(
            f"{path} holds a datapackage.json of {size} bytes; at most {MOST_BYTES_OF_THE_DESCRIPTOR} are read. "
            "Choose a data package."
        )
    try:
        found: dict[str, Any] = json.loads(file.read("datapackage.json"))
    except RecursionError as error:
        raise ValueError("datapackage.json is nested too deeply") from error
    resources = found.get("resources") if isinstance(found, dict) else None
    if (
        not isinstance(resources, list)
        or not all(isinstance(one, dict) for one in resources)
        or "hazefall" not in found
    ):
        raise InvalidValue(f"{path} is a data package from another program; its numbers cannot be recomputed here.")
    return found


def _check_files(package: OpenPackage, progress: OnProgress) -> None:
    """Every file in the descriptor is present with its size and hash, and there is no other file."""
    resources = package.descriptor["resources"]
    for done, resource in enumerate(resources, start=1):
        progress(done, len(resources), "Verifying file hashes")
        name = str(resource["path"])
        try:
            size = package.file.getinfo(name).file_size
        except KeyError:
            package.wrong("file", f"{name} is missing.")
            continue
        if size > MOST_BYTES_OF_A_FILE:
            package.wrong("file", f"{name} unpacks to {size} bytes, which is too large for a file of a package.")
            continue
        content = package.content(name)
        found = hashlib.sha256(content).hexdigest()
        if resource.get("hash") != f"sha256:{found}":
            expected = str(resource.get("hash", "none")).removeprefix("sha256:")
            package.wrong(
                "file",
                f"{name} holds {len(content)} bytes with the hash {found[:12]}…; the package says "
                f"{resource.get('bytes')} bytes with {expected[:12]}…. It was changed after packing.",
            )
    for name in sorted(set(package.file.namelist()) - set(package.paths()) - {"datapackage.json"}):
        package.wrong("file", f"{name} is in the zip, but the descriptor does not list it.")


def _check_numbers(package: OpenPackage, folder: Path, progress: OnProgress, workers: int | None) -> dict[str, int]:
    made_by = package.about.get("method_version", "")
    if made_by != METHOD_VERSION:
        package.note(
            "method",
            f"The package was made by method {made_by or 'unknown'}; this program has {METHOD_VERSION}, so numbers "
            "may differ for this reason alone.",
        )
    engine = open_store(Settings(folder))
    try:
        with session_scope(engine) as session:
            counted = _fill(session, package, progress)
        plan = plan_recompute(engine, progress, workers=workers, noise_by_trial=_noise_by_trial(package))
        with session_scope(engine) as session:
            accept_recompute(session, plan, why="a package is checked")
        with session_scope(engine) as session:
            counted |= compare_results(session, package)
    finally:
        engine.dispose()
    return counted


def _noise_by_trial(package: OpenPackage) -> NoiseByTrial:
    """What was known of the logger's noise when each result was made, as the package has it."""
    found: dict[int, dict[str, LoggerNoise]] = {}
    for record in package.records("results/channel_results.csv"):
        row = values_from("channel_results", record)
        noise = stored_noise(row.get("noise_prior"), row.get("noise_prior_trials"))
        found.setdefault(row["trial_id"], {})[row["channel"]] = noise
    return found


def _fill(session: Session, package: OpenPackage, progress: OnProgress) -> dict[str, int]:
    """Loads the rows of the package into the store; logs and their readings come from the raw files."""
    session.execute(delete(Bench))
    counted: dict[str, int] = {}
    for name in GIVEN_TABLES:
        if name == "logs":
            counted |= read_packaged_logs(session, package, progress)
        elif name != "log_channels":
            counted[name] = insert_rows(session, name, package.records(f"data/{name}.csv"))
    insert_rows(session, BenchRepeatability.__tablename__, package.records("results/bench_repeatability.csv"))
    return {"units": counted["units_under_test"]} | {
        name: counted[name] for name in ("raw_files", "logs", "readings", "trials")
    }
