"""Sound, power, ozone, ratings and claims of a unit: list, adding an entry, deleting one."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Annotated, Any

from fastapi import Path, Request
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from app.reading_files.log_table import ReadingChoices
from app.services.measurements.claims import add_claim, delete_claim
from app.services.measurements.definitions import (
    NewClaim,
    NewOzoneTest,
    NewPowerMeasurement,
    NewRating,
    NewSoundMeasurement,
)
from app.services.measurements.ozone_tests import add_ozone_test, delete_ozone_test
from app.services.measurements.power_levels import add_power_log, add_power_measurement, delete_power_measurement
from app.services.measurements.ratings import add_rating, delete_rating
from app.services.measurements.sound_levels import add_sound_measurement, delete_sound_measurement
from app.web.api.shapes import LARGEST_ID, Id
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.addresses import query_form
from app.web.forms.typed_form import TypedForm, TypedFormDep, empty_form
from app.web.pages.units.measurements_view import (
    STANDBY,
    EntriesPage,
    claims_page,
    ozone_page,
    power_page,
    ratings_page,
    sound_page,
)
from app.web.routers import page_router

router = page_router()
Store = Callable[[Session, int], object]


@dataclass(frozen=True, slots=True)
class EntryKind:
    """One kind of entry with its page at /units/{unit_id}/{what}.

    day : the field with today as default; id_name : name of the entry's id in the URL
    read : function that reads the typed entry, None if the form has errors
    """

    what: str
    day: str
    id_name: str
    page: Callable[[Session, int, TypedForm], EntriesPage]
    read: Callable[[TypedForm], Store | None]
    delete: Callable[..., None]


def _add_routes(kind: EntryKind) -> None:
    path, template = f"/units/{{unit_id}}/{kind.what}", f"pages/units/{kind.what}.html"

    def today() -> TypedForm:
        return empty_form(**{kind.day: datetime.now(UTC).date()})

    @router.get(path)
    def shown(unit_id: Id, request: Request, session: SessionDep, render: RenderDep) -> Response:
        """The form with what the URL fills in, such as the mean of a log that was uploaded."""
        form = today()
        form.values |= query_form(request.query_params).values
        return render(template, kind.page(session, unit_id, form))

    @router.post(path)
    def added(unit_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
        store = kind.read(form)
        if form.is_good and store is not None:
            with form.attempt(session):
                store(session, unit_id)
                return RedirectResponse(f"/units/{unit_id}/{kind.what}", 303)
        return render(template, kind.page(session, unit_id, form), status_code=422)

    @router.post(f"{path}/{{{kind.id_name}}}/take-back")
    def deleted(
        unit_id: Id,
        entry_id: Annotated[int, Path(alias=kind.id_name, ge=1, le=LARGEST_ID)],
        session: SessionDep,
        render: RenderDep,
        form: TypedFormDep,
    ) -> Response:
        """Deletes an entry with a reason; without one nothing changes, and the page shows the error."""
        with form.attempt(session):
            kind.delete(session, entry_id, who=form.text("who"), why=form.text("why"))
            return RedirectResponse(f"/units/{unit_id}/{kind.what}", 303)
        again = today()
        again.errors = form.errors
        return render(template, kind.page(session, unit_id, again), status_code=422)


def _sound(form: TypedForm) -> Store | None:
    new, setting_id = form.entry(NewSoundMeasurement), form.whole_number("setting", "The setting")
    if setting_id is None:
        form.add_error("setting", "No setting selected. Every sound level needs a setting.")
    if new is None or setting_id is None:
        return None
    return lambda session, unit_id: add_sound_measurement(session, unit_id, setting_id, new, who=new.measured_by)


def _power(form: TypedForm) -> Store | None:
    """A spot reading, or the log of a power meter, of which the time-weighted mean is stored."""
    file = form.files.get("log")
    log = file if file is not None and file.filename else None
    of_log: dict[str, Any] = {} if log is None else {"power_w": None, "measured_on": None}
    if (log is not None) == bool(form.text("power_w")):
        form.add_error("power_w", "Enter either the meter reading or the meter log.")
    new, chosen = form.entry(NewPowerMeasurement, **of_log), form.whole_number("setting", "The setting")
    if not form.typed("setting"):
        form.add_error("setting", "No setting selected. Choose one, or standby.")
    if new is None:
        return None
    setting_id = None if chosen == int(STANDBY) else chosen
    if log is None:
        return lambda session, unit_id: add_power_measurement(session, unit_id, setting_id, new, who=new.measured_by)
    name, choices, who = log.filename or "log", _log_choices(form), new.measured_by
    return lambda session, unit_id: add_power_log(
        session, unit_id, setting_id, log.file.read(), name, choices=choices, meter=new, who=who
    )


def _log_choices(form: TypedForm) -> ReadingChoices:
    """Which column holds the power, if its header is unclear, and the zone of local times."""
    column = form.text("power_column")
    columns, units = ({column: "power"}, {column: "W"}) if column else ({}, {})
    return ReadingChoices(timezone=form.text("timezone") or None, columns=columns, units=units)


def _ozone(form: TypedForm) -> Store | None:
    new, who = form.entry(NewOzoneTest), form.text("who")
    return None if new is None else lambda session, unit_id: add_ozone_test(session, unit_id, new, who=who)


def _rating(form: TypedForm) -> Store | None:
    new, who = form.entry(NewRating, listed=not form.ticked("not_listed")), form.text("who")
    return None if new is None else lambda session, unit_id: add_rating(session, unit_id, new, who=who)


def _claim(form: TypedForm) -> Store | None:
    new, who = form.entry(NewClaim, setting_id=form.whole_number("setting", "The setting")), form.text("who")
    return None if new is None else lambda session, unit_id: add_claim(session, unit_id, new, who=who)


for _kind in (
    EntryKind("sound", "measured_on", "measurement_id", sound_page, _sound, delete_sound_measurement),
    EntryKind("power", "measured_on", "measurement_id", power_page, _power, delete_power_measurement),
    EntryKind("ozone", "ozone_tested_on", "measurement_id", ozone_page, _ozone, delete_ozone_test),
    EntryKind("ratings", "rating_seen_on", "rating_id", ratings_page, _rating, delete_rating),
    EntryKind("claims", "claim_seen_on", "claim_id", claims_page, _claim, delete_claim),
):
    _add_routes(_kind)
