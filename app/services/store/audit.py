"""The record of every change: who, when, before, after, and why. Rows are only ever added."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime

from sqlalchemy import select
from sqlalchemy.orm import DeclarativeBase, Session

from app.hidden_marks import without_hidden_marks
from app.storage.column_types import UtcTime
from app.storage.inserts import insert_into
from app.storage.many_rows import write_many
from app.storage.models.bench import Change

# The name recorded where none was given: the person at the desk, on their own machine.
AT_THE_DESK = "desk"
# Key under which a session holds the name of the signed-in account; it overrides any typed name.
ACTING = "acting"
_TIME = "time of the changes"  # key of a session: its transaction and the time of what that changes


# Row id and unit, which the record holds already.
_NOT_IN_SNAPSHOT = {"id", "unit_under_test_id", "setting_id", "quantity"}
_UNITS = {
    "_m3_per_h": "m³/h",
    "_dba": "dB(A)",
    "_db": "dB",
    "_ppb": "ppb",
    "_hz": "Hz",
    "_m2": "m²",
    "_m": "m",
    "_w": "W",
    "_s": "s",
}
_WORDS = {
    "sha256": "raw file (SHA-256)",
    "calibration_sha256": "raw file of the calibration (SHA-256)",
    "log_id": "log",
}


def acting_name(session: Session, typed: str = "") -> str:
    """Name for the record: the signed-in account, else the typed name, else the person at the desk."""
    return str(session.info.get(ACTING) or typed.strip() or AT_THE_DESK)


def record_change(
    session: Session,
    who: str,
    action: str,
    subject: str,
    subject_id: int,
    field: str = "",
    before: object = None,
    after: object = None,
    why: str = "",
    *,
    at: datetime | None = None,
) -> None:
    """Adds one row to the record, in the same transaction as the change.

    who : the typed name; the signed-in account overrides it
    action : what was done, such as added or changed; `history/change_history.py` has the words for each
    subject, subject_id : the item changed, such as ("trial", 12)
    before, after : values of the field; None means that there was none
    at : by default one time for everything that a transaction changes
    """
    change = {
        "at": at or _time_of_transaction(session),
        "who": without_hidden_marks(acting_name(session, who)),
        "action": action,
        "subject": subject,
        "subject_id": subject_id,
        "field": field,
        "before": recorded_text(before),
        "after": recorded_text(after),
        "why": without_hidden_marks(why),
    }
    session.connection().execute(insert_into(Change), change)


def _time_of_transaction(session: Session) -> datetime:
    transaction = session.get_transaction()
    known = session.info.get(_TIME)
    if known is None or transaction is None or known[0] is not transaction:
        known = session.info[_TIME] = (transaction, datetime.now(UTC))
    return known[1]


def record_changes(
    session: Session,
    who: str,
    action: str,
    subject: str,
    changes: Sequence[tuple[int, str, str | None, str | None]],
    why: str,
) -> None:
    """`record_change` for many at once: id, field, value before and after, as text."""
    if not changes:
        return
    connection = session.connection()
    at = UtcTime().process_bind_param(_time_of_transaction(session), connection.dialect)
    common = at, without_hidden_marks(acting_name(session, who)), action, subject, without_hidden_marks(why)
    names = ("at", "who", "action", "subject", "why", "subject_id", "field", "before", "after")
    write_many(connection, insert_into(Change), names, ((*common, *change) for change in changes))


def write_changes(
    session: Session,
    row: DeclarativeBase,
    values: Mapping[str, object],
    subject: str,
    subject_id: int,
    *,
    who: str,
    why: str = "",
) -> set[str]:
    """Gives a stored row its new values; each that differs is recorded with the old one. Returns their names."""
    moved = {name: getattr(row, name) for name, after in values.items() if getattr(row, name) != after}
    for name, before in moved.items():
        setattr(row, name, values[name])
        record_change(session, who, "changed", subject, subject_id, name, before, values[name], why)
    return set(moved)


def changes_of(session: Session, subject: str, subject_id: int) -> Sequence[Change]:
    """All changes of one item, newest first."""
    return session.scalars(
        select(Change).where(Change.subject == subject, Change.subject_id == subject_id).order_by(Change.id.desc())
    ).all()


def recorded_text(value: object) -> str | None:
    """A value as text for the record; None where there was none."""
    if value is None:
        return None
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.12g}"
    return value.isoformat() if isinstance(value, datetime) else str(value)


def row_snapshot(row: DeclarativeBase) -> str:
    """All non-empty columns of an entry, with units.

    >>> from app.storage.models.bench_measurements import OzoneTest
    >>> row_snapshot(OzoneTest(ozone_ppb=3.0, below_detection=False, method="box", source="own"))
    'ozone [ppb]: 3; below detection: no; method: box; source: own'
    """
    found = []
    for attribute in row.__mapper__.column_attrs:
        value = getattr(row, attribute.key)
        if attribute.key in _NOT_IN_SNAPSHOT or value is None or value == "":
            continue
        found.append(f"{_label(attribute.key)}: {' '.join((recorded_text(value) or '').splitlines())}")
    return "; ".join(found)


def _label(column: str) -> str:
    if column in _WORDS:
        return _WORDS[column]
    for ending, unit in _UNITS.items():
        if column.endswith(ending):
            return f"{column.removesuffix(ending).replace('_', ' ')} [{unit}]"
    return column.replace("_", " ")
