"""Labels for the fields and values of the record of changes: no ids, no column names.

The stored record is not altered; labels are made when it is shown.
"""

from collections import defaultdict
from collections.abc import Sequence
from datetime import UTC, datetime

from sqlalchemy import select
from sqlalchemy.orm import InstrumentedAttribute, Session

from app.compute.wording.numbers import plus_minus
from app.compute.wording.rounding import decimals_from_size, rounded_text
from app.reading_files.headers.channels import channel
from app.services.logs.trial_fields import MARK_NAMES, MARKS
from app.services.store.clear_level import CLEAR_LEVEL_WORDS
from app.services.store.entry_fields import entry_fields
from app.services.units.definitions import NewUnit
from app.storage.models.accounts import Account
from app.storage.models.bench import Change, Tariff
from app.storage.models.loggers import Logger, LoggerProfile, SmokeSource
from app.storage.models.rooms import Room
from app.storage.models.units_under_test import SpeedSetting, UnitUnderTest

# Stored field to its label and unit.
_FIELDS = {
    **{each.name: (f"{each.what[:1].lower()}{each.what[1:]}", each.unit) for each in entry_fields(NewUnit)},
    **{each.name: (f"the mark “{each.label.lower()}”", "min") for each in MARKS},
    "name": ("the name", ""),
    "bought_on": ("the purchase date", ""),
    "length_m": ("the length", "m"),
    "width_m": ("the width", "m"),
    "height_m": ("the height", "m"),
    "room_volume_m3": ("the volume", "m³"),
    "room_volume_uncertainty_m3": ("the uncertainty of the volume", "m³"),
    "furniture": ("the furniture", ""),
    "aerosol": ("the aerosol", ""),
    "principle": ("the measuring principle", ""),
    "response_time_s": ("the response time", "s"),
    "saturation_level_ug_m3": ("the saturation level", "µg/m³"),
    "averaging_s": ("the averaging time", "s"),
    "time_stamp": ("the place of the time stamp", ""),
    "on_before_min": ("how long it is on before a log begins", "min"),
    "check_interval_days": ("the time between checks", "days"),
    "check": ("a check", ""),
    "calibration": ("the calibration", ""),
    "choices": ("the file format", ""),
    "profile_id": ("the logger profile", ""),
    "unit_under_test_id": ("the unit under test", ""),
    "setting_id": ("the setting", ""),
    "room_id": ("the room", ""),
    "smoke_source_id": ("the smoke source", ""),
    "logger_id": ("the logger", ""),
    "tariff_id": ("the price of electricity", ""),
    "started_at": ("the start of the run", ""),
    "tested_by": ("the tester", ""),
    "filter_state": ("the filter condition", ""),
    "background_ug_m3": ("the background of the mass channels", "µg/m³"),
    "clear_level_kind": ("the clear level type", ""),
    "clear_level_value": ("the clear level", ""),
    "excluded_why": ("the exclusion", ""),
    "scenario": ("the demonstration notice", ""),
    "timezone": ("the time zone", ""),
    "currency": ("the currency", ""),
    "standard_distance_m": ("the standard distance for sound levels", "m"),
    "sound_correction_rule": ("the background correction rule", ""),
    "natural_decay_stale_after_days": ("the maximum age of an empty-room run", "days"),
    "hours_per_day": ("the hours of use per day", "h"),
    "days_per_year": ("the days of use per year", "days"),
    "main_channel": ("the main channel", ""),
    "publication": ("the name of the publication", ""),
    "publication_font": ("the font of charts", ""),
    "publication_ink": ("the ink of charts", ""),
    "publication_accent": ("the accent colour of charts", ""),
    "licence": ("the licence of the published data", ""),
    "usable": ("whether the result may be used", ""),
    "start_level": ("the level at unit on", ""),
    "total_decay_per_h": ("the total decay", "1/h"),
    "total_decay_uncertainty_per_h": ("the uncertainty of the total decay", "1/h"),
    "clean_air_delivery_rate_m3_per_h": ("the clean air delivery rate", "m³/h"),
    "clean_air_delivery_rate_uncertainty": ("the uncertainty of the clean air delivery rate", "m³/h"),
    "standard_clearing_time_min": ("the time to 95\u00a0% reduction", "min"),
    "time_to_clear_min": ("the time to clear", "min"),
    "not_cleared_before_min": ("the time without reaching the clear level", "min"),
}
PLURAL = {"notes", "hours_per_day", "days_per_year"}  # fields whose label is in the plural
_NOTHING = {
    **dict.fromkeys(MARK_NAMES, "detected from the data"),
    "background_ug_m3": "detected from the data",
    "clear_level_kind": "bench default",
    "clear_level_value": "bench default",
}
_VALUES = {
    "clear_level_kind": CLEAR_LEVEL_WORDS,
    "consumables_state": {"unknown": "not known", "none needed": "none needed", "listed": "listed"},
}
_NAMES: dict[str, tuple[InstrumentedAttribute[int], tuple[InstrumentedAttribute[str], ...]]] = {
    "unit_under_test_id": (UnitUnderTest.id, (UnitUnderTest.maker, UnitUnderTest.model)),
    "setting_id": (SpeedSetting.id, (SpeedSetting.name,)),
    "room_id": (Room.id, (Room.name,)),
    "smoke_source_id": (SmokeSource.id, (SmokeSource.name,)),
    "logger_id": (Logger.id, (Logger.name,)),
    "profile_id": (LoggerProfile.id, (LoggerProfile.name,)),
    "tariff_id": (Tariff.id, (Tariff.region,)),
    "account_id": (Account.id, (Account.name,)),
}
# Kind of item to the field that refers to it.
_FIELD_OF_SUBJECT = {
    "room": "room_id",
    "logger": "logger_id",
    "smoke source": "smoke_source_id",
    "logger profile": "profile_id",
    "tariff": "tariff_id",
    "account": "account_id",
}


class ItemNames:
    """Names of the items that a set of changes refers to, read in one query per kind."""

    def __init__(self, session: Session, changes: Sequence[Change]) -> None:
        wanted: dict[str, set[int]] = defaultdict(set)
        for change in changes:
            if change.subject in _FIELD_OF_SUBJECT:
                wanted[_FIELD_OF_SUBJECT[change.subject]].add(change.subject_id)
            if change.field in _NAMES:
                wanted[change.field] |= {int(text) for text in (change.before, change.after) if text and _is_id(text)}
        self._names = {field: _read(session, field, ids) for field, ids in wanted.items()}

    def of_field(self, field: str, text: str) -> str:
        return self._names.get(field, {}).get(int(text), "one that no longer exists")

    def of_subject(self, subject: str, subject_id: int) -> str:
        """ "" for an item without a name, or one that was deleted."""
        return self._names.get(_FIELD_OF_SUBJECT.get(subject, ""), {}).get(subject_id, "")


def _is_id(text: str) -> bool:
    return text.isdecimal() and len(text) < 10


def _read(session: Session, field: str, ids: set[int]) -> dict[int, str]:
    key, columns = _NAMES[field]
    rows = session.execute(select(key, *columns).where(key.in_(ids))).all()
    return {row[0]: " ".join(row[1:]) for row in rows}


def field_label(field: str) -> str:
    """Label of a stored field, to be followed by a verb; empty where the whole item is meant.

    >>> field_label("pm2_5 total_decay_per_h"), field_label("unit_on_s"), field_label("")
    ('PM2.5: the total decay [1/h] ', 'the mark “unit on” [min] ', '')
    """
    if not field:
        return ""
    of_channel, name = channel_and_field(field)
    words, unit = _FIELDS.get(name, (name.replace("_", " "), ""))
    return f"{channel(of_channel).label + ': ' if of_channel else ''}{words}{f' [{unit}]' if unit else ''} "


def channel_and_field(field: str) -> tuple[str, str]:
    """The channel of a computed number and its name; otherwise "" and the field.

    >>> channel_and_field("pm1 usable"), channel_and_field("price of lamp")
    (('pm1', 'usable'), ('', 'price of lamp'))
    """
    first, _, rest = field.partition(" ")
    return (first, rest) if rest in _FIELDS else ("", field)


def value_text(field: str, text: str | None, names: ItemNames) -> str | None:
    """A stored value as text for readers; None where there was none and no placeholder applies."""
    name = channel_and_field(field)[1]
    if text is None or text == "":
        return _NOTHING.get(name)
    if name in _NAMES and _is_id(text):
        return names.of_field(name, text)
    if name in _VALUES:
        return _VALUES[name].get(text, text)
    if name == "main_channel":
        return channel(text).label
    if name == "started_at":
        return _moment(text)
    return _number(name, text) if name in _FIELDS else text


def _moment(text: str) -> str:
    try:
        return datetime.fromisoformat(text).astimezone(UTC).strftime("%Y-%m-%d %H:%M UTC")
    except ValueError:
        return text


def _number(name: str, text: str) -> str:
    """Marks in minutes; computed numbers with four significant digits; typed numbers as typed."""
    best, sign, uncertainty = text.partition(" ± ")
    try:
        value = float(best)
        if sign:
            return plus_minus(value, float(uncertainty) or None)
    except ValueError:
        return text
    if name in MARK_NAMES:
        return f"{round(value / 60, 3):g}"
    if len(text.lstrip("-").replace(".", "").lstrip("0")) <= 5:
        return text
    return rounded_text(value, decimals_from_size(value, 4))
