"""What the pages of sound, power and ozone of a unit show."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from app.compute.wording.rounding import rounded_text
from app.services.units.entry import get_unit
from app.web.forms.typed_form import TypedForm
from app.web.templating.page_context import Choice

_STANDBY = "0"


@dataclass(frozen=True, slots=True)
class MeasurementRow:
    """One entry: its words, cell by cell, and its id for taking it back."""

    id: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class MeasurementsPage:
    """`results` say what the entries come to, setting by setting."""

    unit_id: int
    name: str
    form: TypedForm
    settings: Sequence[Choice]
    environments: Sequence[Choice]
    instrument_classes: Sequence[Choice]
    results: Sequence[tuple[str, str]]
    rows: Sequence[MeasurementRow]
    what: str


def sound_page(session: Session, unit_id: int, form: TypedForm) -> MeasurementsPage:
    from app.services.measurements.sound_levels import ENVIRONMENTS, INSTRUMENT_CLASSES, sound_levels_of_unit

    levels = sound_levels_of_unit(session, unit_id)
    rows = [
        MeasurementRow(
            row.id,
            (
                level.setting.name,
                f"{row.level_dba:g}",
                "–" if row.background_dba is None else f"{row.background_dba:g}",
                f"{row.distance_m:g}",
                row.position or "–",
                row.environment,
                f"{row.instrument or 'not told'}{f', class {row.instrument_class}' if row.instrument_class else ''}",
                row.measured_on.isoformat(),
                row.measured_by or "–",
            ),
        )
        for level in levels
        for row in level.measurements
    ]
    return _page(
        session,
        unit_id,
        form,
        "sound",
        settings=_settings(levels, form),
        environments=[Choice(each, each, each == form.typed("environment", "indoor")) for each in ENVIRONMENTS],
        instrument_classes=[
            Choice(each, f"class {each}" if each else "not told", each == form.typed("instrument_class"))
            for each in INSTRUMENT_CLASSES
        ],
        results=[(each.setting.name, _level_text(each.level)) for each in levels if each.level is not None],
        rows=rows,
    )


def power_page(session: Session, unit_id: int, form: TypedForm) -> MeasurementsPage:
    from app.services.measurements.power_levels import power_levels_of_unit

    levels = power_levels_of_unit(session, unit_id)
    rows = [
        MeasurementRow(
            row.id,
            (
                level.name,
                f"{row.power_w:.4g} ± {row.uncertainty_w:.2g}",
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
    chosen = form.typed("setting")
    return _page(
        session,
        unit_id,
        form,
        "power",
        settings=[
            *_settings([each for each in levels if each.setting], form),
            Choice(_STANDBY, "standby", chosen == _STANDBY),
        ],
        results=[
            (level.name, f"{rounded_text(level.power.value, 1)} ± {rounded_text(level.power.uncertainty, 1)} W")
            for level in levels
            if level.power is not None
        ],
        rows=rows,
    )


def ozone_page(session: Session, unit_id: int, form: TypedForm) -> MeasurementsPage:
    from app.services.measurements.ozone_tests import ozone_of_unit

    found = ozone_of_unit(session, unit_id)
    rows = [
        MeasurementRow(
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
    return _page(session, unit_id, form, "ozone", results=[("Ozone", found.finding.sentence)], rows=rows)


def _level_text(level: Any) -> str:
    value, uncertainty = rounded_text(level.level_dba.value, 1), rounded_text(level.level_dba.uncertainty, 1)
    words = f"at most {value}" if level.upper_bound else f"{value} ± {uncertainty}"
    estimate = ", an estimate from another distance" if level.estimate else ""
    return " ".join([f"{words} dB(A) at {level.distance_m:g} m{estimate}.", *level.sentences])


def _settings(levels: Sequence[Any], form: TypedForm) -> list[Choice]:
    chosen = form.typed("setting")
    return [
        Choice("", "choose one", not chosen),
        *(Choice(str(each.setting.id), each.setting.name, str(each.setting.id) == chosen) for each in levels),
    ]


def _page(session: Session, unit_id: int, form: TypedForm, what: str, **parts: Any) -> MeasurementsPage:
    unit = get_unit(session, unit_id)
    empty: dict[str, Any] = {"settings": (), "environments": (), "instrument_classes": (), "results": (), "rows": ()}
    return MeasurementsPage(unit_id=unit_id, name=f"{unit.maker} {unit.model}", form=form, what=what, **(empty | parts))
