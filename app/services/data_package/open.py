"""Opens a data package for reading, and loads its rows into a store."""

import csv
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from io import StringIO
from typing import Any

from sqlalchemy import insert
from sqlalchemy.orm import Session

from app.services.data_package.tables import values_from
from app.services.store.check import Finding
from app.storage.models.all_models import METADATA

# Defaults for required columns that are not in the package and affect no number.
FILLED_IN = datetime(2000, 1, 1, tzinfo=UTC)
_FILLED_COLUMNS = ("created_at", "stored_at", "computed_at")


@dataclass(slots=True)
class OpenPackage:
    """An open package: its descriptor, and the findings so far."""

    file: zipfile.ZipFile
    descriptor: dict[str, Any]
    findings: list[Finding] = field(default_factory=list)

    @property
    def about(self) -> dict[str, Any]:
        found = self.descriptor.get("hazefall")
        return found if isinstance(found, dict) else {}

    def content(self, path: str) -> bytes:
        return self.file.read(path)

    def records(self, path: str) -> list[dict[str, str]]:
        """Rows of a CSV file of the package."""
        return list(csv.DictReader(StringIO(self.content(path).decode("utf-8"), newline="")))

    def paths(self) -> list[str]:
        return [str(one.get("path", "")) for one in self.descriptor["resources"]]

    def wrong(self, subject: str, message: str) -> None:
        self.findings.append(Finding(True, subject, message))

    def note(self, subject: str, message: str) -> None:
        self.findings.append(Finding(False, subject, message))


def insert_rows(session: Session, name: str, records: Sequence[dict[str, str]]) -> int:
    """Inserts rows of a packaged table, with defaults for columns that are not in the package; returns their number."""
    filled = {column: FILLED_IN for column in _FILLED_COLUMNS if column in METADATA.tables[name].columns}
    rows = [values_from(name, record) | filled for record in records]
    if rows:
        session.execute(insert(METADATA.tables[name]), rows)
    return len(rows)
