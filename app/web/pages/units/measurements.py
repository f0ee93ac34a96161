"""Sound, power and ozone of a unit: what was measured, adding a measurement, taking a wrong one back."""

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

from fastapi import APIRouter
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from app.reading_files.log_table import ReadingChoices
from app.services.measurements.sound_levels import NewSoundMeasurement
from app.web.api.shapes import Id
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.typed_form import TypedForm, TypedFormDep, empty_form
from app.web.pages.units.measurements_view import ozone_page, power_page, sound_page

router = APIRouter()
_MEASURED_ON = "The day of measuring"


@router.get("/units/{unit_id}/sound")
def sound(unit_id: Id, session: SessionDep, render: RenderDep) -> Response:
    return render("pages/units/sound.html", sound_page(session, unit_id, _today()))


@router.post("/units/{unit_id}/sound")
def sound_added(unit_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    from app.services.measurements.sound_levels import add_sound_measurement  # loaded when used

    new = NewSoundMeasurement(
        level_dba=form.number("sound_dba", "The sound level"),
        background_dba=form.number("background_dba", "The level of the room"),
        distance_m=form.number("distance_m", "The distance"),
        position=form.text("position"),
        environment=form.typed("environment", "indoor"),
        instrument=form.text("instrument"),
        instrument_class=form.typed("instrument_class"),
        measured_on=form.day("measured_on", _MEASURED_ON),
        measured_by=form.text("measured_by"),
        notes=form.text("notes"),
    )
    setting_id = form.whole_number("setting", "The setting")
    if setting_id is None:
        form.add_error("setting", "No setting was chosen; a sound level belongs to a setting.")
    if form.is_good and setting_id is not None:
        with form.attempt(session):
            add_sound_measurement(session, unit_id, setting_id, new, who=new.measured_by)
            return RedirectResponse(f"/units/{unit_id}/sound", 303)
    return render("pages/units/sound.html", sound_page(session, unit_id, form), status_code=422)


@router.post("/units/{unit_id}/sound/{measurement_id}/take-back")
def sound_deleted(
    unit_id: Id, measurement_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep
) -> Response:
    from app.services.measurements.sound_levels import delete_sound_measurement

    return _deleted(session, render, form, unit_id, measurement_id, delete_sound_measurement, "sound", sound_page)


@router.get("/units/{unit_id}/power")
def power(unit_id: Id, session: SessionDep, render: RenderDep) -> Response:
    return render("pages/units/power.html", power_page(session, unit_id, _today()))


@router.post("/units/{unit_id}/power")
def power_added(unit_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    """A spot reading, or the log of a power meter, whose mean over time is stored."""
    from app.services.measurements.power_levels import NewPowerMeasurement, add_power_log, add_power_measurement

    watts, uncertainty = form.number("power_w", "The power"), form.number("power_uncertainty_w", "The uncertainty")
    measured_on, who = form.day("measured_on", _MEASURED_ON), form.text("measured_by")
    setting_id = form.whole_number("setting", "The setting")
    file = form.files.get("log")
    has_log = file is not None and bool(file.filename)
    if not form.typed("setting"):
        form.add_error("setting", "No setting was chosen; choose one, or standby.")
    if has_log == (watts is not None) and form.is_good:
        form.add_error("power_w", "Give either the watts that the meter showed, or its log; one of the two is needed.")
    if form.is_good:
        chosen = None if setting_id == 0 else setting_id
        with form.attempt(session):
            if file is not None and has_log:
                add_power_log(
                    session,
                    unit_id,
                    chosen,
                    file.file.read(),
                    file.filename or "log",
                    choices=_log_choices(form),
                    meter_uncertainty_w=uncertainty or 0.0,
                    instrument=form.text("instrument"),
                    measured_by=who,
                    who=who,
                )
            else:
                new = NewPowerMeasurement(
                    power_w=watts,
                    uncertainty_w=uncertainty or 0.0,
                    instrument=form.text("instrument"),
                    measured_on=measured_on,
                    measured_by=who,
                    notes=form.text("notes"),
                )
                add_power_measurement(session, unit_id, chosen, new, who=who)
            return RedirectResponse(f"/units/{unit_id}/power", 303)
    return render("pages/units/power.html", power_page(session, unit_id, form), status_code=422)


def _log_choices(form: TypedForm) -> ReadingChoices:
    """Which column holds the watts, where its header does not tell, and the zone of local times."""
    column = form.text("power_column")
    columns, units = ({column: "power"}, {column: "W"}) if column else ({}, {})
    return ReadingChoices(timezone=form.text("timezone") or None, columns=columns, units=units)


@router.post("/units/{unit_id}/power/{measurement_id}/take-back")
def power_deleted(
    unit_id: Id, measurement_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep
) -> Response:
    from app.services.measurements.power_levels import delete_power_measurement

    return _deleted(session, render, form, unit_id, measurement_id, delete_power_measurement, "power", power_page)


@router.get("/units/{unit_id}/ozone")
def ozone(unit_id: Id, session: SessionDep, render: RenderDep) -> Response:
    return render("pages/units/ozone.html", ozone_page(session, unit_id, _today()))


@router.post("/units/{unit_id}/ozone")
def ozone_added(unit_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    from app.services.measurements.ozone_tests import add_ozone_test

    ppb, tested_on = form.number("ozone_ppb", "The ozone"), form.day("ozone_tested_on", "The day of the test")
    if form.is_good:
        with form.attempt(session):
            add_ozone_test(
                session,
                unit_id,
                ppb,
                tested_on,
                below_detection=form.ticked("below_detection"),
                method=form.text("ozone_method"),
                source=form.text("ozone_source"),
                who=form.text("who"),
            )
            return RedirectResponse(f"/units/{unit_id}/ozone", 303)
    return render("pages/units/ozone.html", ozone_page(session, unit_id, form), status_code=422)


@router.post("/units/{unit_id}/ozone/{measurement_id}/take-back")
def ozone_deleted(
    unit_id: Id, measurement_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep
) -> Response:
    from app.services.measurements.ozone_tests import delete_ozone_test

    return _deleted(session, render, form, unit_id, measurement_id, delete_ozone_test, "ozone", ozone_page)


def _deleted(
    session: Session,
    render: Callable[..., Response],
    form: TypedForm,
    unit_id: int,
    measurement_id: int,
    take_back: Callable[..., None],
    what: str,
    make_page: Callable[[Session, int, TypedForm], Any],
) -> Response:
    """Takes a measurement back with a reason; without one the page says so and nothing changes."""
    with form.attempt(session):
        take_back(session, measurement_id, who=form.text("who"), why=form.text("why"))
        return RedirectResponse(f"/units/{unit_id}/{what}", 303)
    shown = _today()
    shown.errors = form.errors
    return render(f"pages/units/{what}.html", make_page(session, unit_id, shown), status_code=422)


def _today() -> TypedForm:
    today = datetime.now(UTC).date()
    return empty_form(measured_on=today, ozone_tested_on=today)
