"""Digests of the rows that published pages are made from, so that a page whose rows did not change is not made again.

Every table counts, a new one too, unless it is named here. A row belongs to the trial or unit that it refers to, by
whatever path; a row that refers to neither belongs to all pages.
"""

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import LargeBinary, Table, column, select, table
from sqlalchemy.orm import Session

from app.storage.column_types import PackedBytes
from app.storage.models.all_models import METADATA

Owner = tuple[str, int]
TRIAL, UNIT = "trials", "units_under_test"
# What no page shows, and what follows from other rows: readings from the hash of their log, addresses from the names.
_NOT_SHOWN = frozenset(
    {
        "accounts", "api_tokens", "sign_ins", "sign_in_attempts", "upload_keys", "live_runs", "live_channels",
        "live_lots", "live_readings", "live_events", "editions", "edition_contents", "unit_addresses", "unit_changes",
        "raw_files", "readings", "staged_files", "staged_pieces",
    }
)  # fmt: skip
# Rows that many others refer to, with the rows that are part of them: they count where they are referred to.
_PARTS = {"logs": "id", "log_channels": "log_id", "natural_decay_pools": "id", "natural_decay_pool_runs": "pool_id"}
_WHOLES = {"logs": "logs", "log_channels": "logs"}
_NOT_OF_TRIALS = ("bench_repeatability", "tariffs")  # what all units share, but no page of a trial shows
_NAMES_OF_UNIT = (UNIT, "speed_settings")
_SUBJECTS = {"trial": TRIAL, "unit under test": UNIT}


@dataclass(frozen=True, slots=True)
class PageSources:
    """Digests: of the whole bench, of each unit with its trials, and of each trial."""

    whole: str
    units: Mapping[int, str]
    trials: Mapping[int, str]


def read_page_sources(session: Session) -> PageSources:
    """Reads the whole bench but its readings and files."""
    rows = _Rows()
    for one in METADATA.sorted_tables:
        if one.name in _PARTS:
            rows.add_parts(one, _read(session, one))
    for one in METADATA.sorted_tables:
        if one.name not in _NOT_SHOWN and one.name not in _PARTS and one.name != "changes":
            rows.add(one, _read(session, one))
    rows.add_changes(_read(session, METADATA.tables["changes"]))
    return rows.sources()


def _read(session: Session, of: Table) -> tuple[list[str], Iterator[tuple[Any, ...]]]:
    """Names of the columns and the rows, as stored; without large contents, whose hash is beside them."""
    names = [one.name for one in of.columns if not isinstance(one.type, LargeBinary | PackedBytes)]
    plain = table(of.name, *(column(name) for name in names))
    order = [plain.c[one.name] for one in of.primary_key.columns]
    return names, (tuple(row) for row in session.execute(select(*plain.c).order_by(*order)))


@dataclass(slots=True)
class _Rows:
    """Digests of rows by what they belong to: a trial, a unit, or all pages (by table). A large bench has more rows
    than should be in memory, so each text is hashed at once.
    """

    parts: dict[Owner, "_Texts"] = field(default_factory=lambda: defaultdict(_Texts))
    owned: dict[Owner, "_Texts"] = field(default_factory=lambda: defaultdict(_Texts))
    names: dict[int, "_Texts"] = field(default_factory=lambda: defaultdict(_Texts))
    shared: dict[str, "_Texts"] = field(default_factory=lambda: defaultdict(_Texts))
    owners: dict[Owner, Owner] = field(default_factory=dict)
    units_of_trials: dict[int, int | None] = field(default_factory=dict)

    def add_parts(self, of: Table, read: tuple[list[str], Iterator[tuple[Any, ...]]]) -> None:
        names, rows = read
        whole, key = _WHOLES.get(of.name, "natural_decay_pools"), names.index(_PARTS[of.name])
        for row in rows:
            self.parts[whole, row[key]].add(f"{of.name}{row}")

    def add(self, of: Table, read: tuple[list[str], Iterator[tuple[Any, ...]]]) -> None:
        names, rows = read
        refers = [(names.index(one.parent.name), one.column.table.name) for one in of.foreign_keys]
        refers.sort()
        for row in rows:
            text = f"{of.name}{row}"
            referred = [(name, row[place]) for place, name in refers if row[place] is not None]
            text += "".join(self.parts[one].digest for one in referred if one in self.parts)
            owner = self._owner(of.name, names, row, referred)
            if of.name == TRIAL:
                self.units_of_trials[row[names.index("id")]] = row[names.index("unit_under_test_id")]
            if owner is None:
                self.shared[of.name].add(text)
                continue
            self.owned[owner].add(text)
            if of.name in _NAMES_OF_UNIT:
                self.names[owner[1]].add(text)

    def _owner(self, name: str, names: list[str], row: tuple[Any, ...], referred: list[Owner]) -> Owner | None:
        if name in (TRIAL, UNIT):
            owner: Owner | None = (name, row[names.index("id")])
        else:
            found = [self.owners.get(one, one) for one in referred]
            owner = min((one for one in found if one[0] in (TRIAL, UNIT)), default=None)  # a trial before a unit
        if owner is not None and "id" in names:
            self.owners[name, row[names.index("id")]] = owner
        return owner

    def add_changes(self, read: tuple[list[str], Iterator[tuple[Any, ...]]]) -> None:
        names, rows = read
        subject, subject_id = names.index("subject"), names.index("subject_id")
        for row in rows:
            if row[subject] in _SUBJECTS:
                self.owned[_SUBJECTS[row[subject]], row[subject_id]].add(f"changes{row}")
            elif row[subject] != "edition":  # publishing itself changes no page
                self.shared["changes"].add(str(row))

    def sources(self) -> PageSources:
        own = {owner: texts.digest for owner, texts in self.owned.items()}
        shared = {name: texts.digest for name, texts in sorted(self.shared.items()) if name != "changes"}
        of_trials = _digest(f"{name} {one}" for name, one in shared.items() if name not in _NOT_OF_TRIALS)
        of_units = _digest(f"{name} {one}" for name, one in shared.items())
        with_trials: dict[int, list[str]] = defaultdict(list)
        for trial, unit in sorted(self.units_of_trials.items()):
            with_trials[unit or 0].append(own[TRIAL, trial])
        everything = [f"{owner} {one}" for owner, one in sorted(own.items())]
        return PageSources(
            whole=_digest([of_units, self.shared["changes"].digest, *everything]),
            units={
                unit: _digest([of_units, own[UNIT, unit], *with_trials[unit]]) for kind, unit in own if kind == UNIT
            },
            trials={
                trial: _digest([of_trials, own[TRIAL, trial], self.names[unit or 0].digest])
                for trial, unit in self.units_of_trials.items()
            },
        )


class _Texts:
    """Digest of texts in an order, without the texts."""

    __slots__ = ("_found",)

    def __init__(self) -> None:
        self._found = hashlib.sha256()

    def add(self, text: str) -> None:
        self._found.update(f"{text}\n".encode())

    @property
    def digest(self) -> str:
        return self._found.hexdigest()[:16]


def _digest(texts: Iterable[str]) -> str:
    found = _Texts()
    for text in texts:
        found.add(text)
    return found.digest
