"""What the pages of sound, power, ozone, ratings and claims of a unit show."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from app.compute.wording.numbers import measured_text
from app.services.measurements.claims import claims_of_unit
from app.services.measurements.ozone_tests import ozone_of_unit
from app.services.measurements.power_levels import power_levels_of_unit
from app.services.measurements.ratings import ratings_of_unit
from app.services.measurements.sound_levels import sound_levels_of_unit
from app.services.units.entry import get_unit
from app.services.units.speed_settings import settings_of
from app.web.forms.options import plain_choices
from app.web.forms.typed_form import TypedForm
from app.web.pages.attachments.lines import AttachmentLine, unit_lines
from app.web.templating.page_context import Choice

STANDBY = "0"


@dataclass(frozen=True, slots=True)
class EntryRow:
    """One entry: its cells, and its id for deleting."""

    id: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class EntriesPage:
    """`results` say what the entries come to, setting by setting; `what` is the last part of the address."""

    what: str
    unit_id: int
    name: str
    form: TypedForm
    rows: Sequence[EntryRow]
    results: Sequence[tuple[str, str]] = ()
    settings: Sequence[Choice] = ()
    attachments: Sequence[AttachmentLine] = ()


def sound_page(session: Session, unit_id: int, form: TypedForm) -> EntriesPage:
    levels = sound_levels_of_unit(session, unit_id)
    rows = [
        EntryRow(
            row.id,
            (
                level.setting.name,
                f"{row.level_dba:g}",
                "–" if row.background_dba is None else f"{row.background_dba:g}",
                f"{row.distance_m:g}",
                row.position or "–",
                row.environment,
                (row.instrument or "not specified")
                + (f", class {row.instrument_class}" if row.instrument_class else ""),
                row.measured_on.isoformat(),
                row.measured_by or "–",
            ),
        )
        for level in levels
        for row in level.measurements
    ]
    results = [(each.setting.name, _level_text(each.level)) for each in levels if each.level is not None]
    settings = _settings(session, unit_id, form, {"": "choose one"})
    photos = unit_lines(session, unit_id, levels, (), "sound")
    return EntriesPage("sound", unit_id, _name(session, unit_id), form, rows, results, settings, photos)


def power_page(session: Session, unit_id: int, form: TypedForm) -> EntriesPage:
    levels = power_levels_of_unit(session, unit_id)
    rows = [
        EntryRow(
            row.id,
            (
                level.name,
                _power_text(row.power_w, row.uncertainty_w),
                "log" if row.log_id is not None else "spot reading",
                row.instrument or "–",
                row.measured_on.isoformat(),
                row.measured_by or "–",
                row.notes or "–",
            ),
        )
        for level in levels
        for row in level.measurements
    ]
    results = [
        (level.name, f"{_power_text(level.power.value, level.power.uncertainty)} W")
        for level in levels
        if level.power is not None
    ]
    settings = _settings(session, unit_id, form, {"": "choose one"}, {STANDBY: "standby"})
    photos = unit_lines(session, unit_id, (), levels, "power")
    return EntriesPage("power", unit_id, _name(session, unit_id), form, rows, results, settings, photos)


def _power_text(power_w: float, uncertainty_w: float) -> str:
    """A reading as entered; without an uncertainty, its digits are all that is known."""
    if not uncertainty_w:
        return f"{power_w:.4g}"
    words = measured_text(power_w, uncertainty_w)
    return f"{words.value} ± {words.uncertainty}"


def ozone_page(session: Session, unit_id: int, form: TypedForm) -> EntriesPage:
    found = ozone_of_unit(session, unit_id)
    rows = [
        EntryRow(
            test.id,
            (
                f"{'less than ' if test.below_detection else ''}{test.ozone_ppb:g}",
                test.tested_on.isoformat(),
                test.method or "–",
                test.source or "–",
            ),
        )
        for test in found.tests
    ]
    results = [("Finding", found.finding.sentence)]
    return EntriesPage("ozone", unit_id, _name(session, unit_id), form, rows, results)


def ratings_page(session: Session, unit_id: int, form: TypedForm) -> EntriesPage:
    rows = []
    for entry in ratings_of_unit(session, unit_id):
        rating = entry.rating
        cells = (
            rating.aerosol,
            f"{rating.stated_value:g} {rating.stated_unit}" if rating.listed else "not listed",
            rating.sister_model or "this unit",
            " ".join(part for part in (rating.test_standard, rating.edition) if part) or "not specified",
            rating.source,
            rating.seen_on.isoformat(),
            entry.comparison.sentence,
        )
        rows.append(EntryRow(rating.id, cells))
    return EntriesPage("ratings", unit_id, _name(session, unit_id), form, rows)


def claims_page(session: Session, unit_id: int, form: TypedForm) -> EntriesPage:
    names = {setting.id: setting.name for setting in settings_of(session, unit_id)}
    rows = []
    for entry in claims_of_unit(session, unit_id):
        claim = entry.claim
        value = "–" if claim.value is None else f"{claim.bound} {claim.value:g} {claim.unit_symbol}"
        cells = (
            f"“{claim.wording}”",
            f"{entry.quantity_words}: {value}",
            "not named" if claim.setting_id is None else names.get(claim.setting_id, "not named"),
            claim.where_seen or "not specified",
            claim.seen_on.isoformat(),
            " ".join((entry.check.sentence, *entry.check.cautions)),
        )
        rows.append(EntryRow(claim.id, cells))
    settings = _settings(session, unit_id, form, {"": "not named"})
    return EntriesPage("claims", unit_id, _name(session, unit_id), form, rows, settings=settings)


def _level_text(level: Any) -> str:
    found = measured_text(level.level_dba.value, level.level_dba.uncertainty)
    words = f"at most {found.value}" if level.upper_bound else f"{found.value} ± {found.uncertainty}"
    estimate = ", estimated from another distance" if level.estimate else ""
    return " ".join([f"{words} dB(A) at {level.distance_m:g} m{estimate}.", *level.sentences])


def _settings(
    session: Session, unit_id: int, form: TypedForm, before: dict[str, str], after: dict[str, str] | None = None
) -> list[Choice]:
    """The settings of the unit as choices, with others before and after them."""
    own = {str(setting.id): setting.name for setting in settings_of(session, unit_id)}
    words = before | own | (after or {})
    return plain_choices(tuple(words), form.typed("setting"), words)


def _name(session: Session, unit_id: int) -> str:
    unit = get_unit(session, unit_id)
    return f"{unit.maker} {unit.model}"
