"""A log of a power meter or a sound meter: offered as a measurement of a unit instead of a trial."""

from datetime import date
from typing import Annotated

from fastapi import Query
from starlette.background import BackgroundTask
from starlette.responses import RedirectResponse, Response

from app.services.adding_trials.staged_uploads import discard_upload, staged_content, staged_upload
from app.services.measurements.definitions import NewPowerMeasurement
from app.services.measurements.power_levels import add_power_log
from app.services.units.entry import find_setting
from app.web.api.shapes import LARGEST_ID
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.addresses import address
from app.web.forms.staging import StagingDep
from app.web.forms.typed_form import TypedForm, TypedFormDep
from app.web.pages.adding_a_trial.preview import TEMPLATE, read_preview
from app.web.routers import page_router

router = page_router()
_STANDBY = "standby"


@router.post("/trials/add/{token}/power")
def stored_as_power(
    token: str, session: SessionDep, area: StagingDep, render: RenderDep, form: TypedFormDep
) -> Response:
    """Stores a staged log of a power meter as the power of a unit at a setting."""
    upload = staged_upload(area, token)
    unit_id = form.whole_number("power_unit_id", "The unit")
    if unit_id is None:
        form.add_error("power_unit_id", "No unit selected. Choose the unit whose power was measured.")
    with form.attempt(session):
        form.stop_if_errors()
        setting_id = _setting(session, form, unit_id or 0)
        form.stop_if_errors()
        meter, who = NewPowerMeasurement(measured_by=form.text("tested_by")), form.text("tested_by")
        add_power_log(
            session, unit_id or 0, setting_id, staged_content(area, upload), upload.file_name, meter=meter, who=who
        )
        done = BackgroundTask(discard_upload, area, token)
        return RedirectResponse(f"/units/{unit_id}/power", 303, background=done)
    page = read_preview(session, area, upload, form)
    return render(TEMPLATE, page, charts=page.has_chart, status_code=422)


def _setting(session: SessionDep, form: TypedForm, unit_id: int) -> int | None:
    """The setting by its name; None for standby."""
    name = form.text("power_setting")
    if name.casefold() == _STANDBY:
        return None
    found = find_setting(session, unit_id, name) if name else None
    if found is None:
        form.add_error(
            "power_setting", f"The unit has no setting {name!r}. Enter the name of a setting of this unit, or standby."
        )
    return found


@router.get("/trials/add/{token}/sound")
def entered_as_sound(
    token: str,
    area: StagingDep,
    power_unit_id: Annotated[int, Query(ge=1, le=LARGEST_ID)],
    level: Annotated[float, Query(ge=0, le=200)],
    measured_on: date | None = None,
) -> Response:
    """Leads to the form of a sound level with the mean of the log filled in; the distance has to be entered there."""
    upload = staged_upload(area, token)
    filled = {"sound_dba": f"{level:g}", "measured_on": measured_on, "notes": f"Mean of {upload.file_name}"}
    return RedirectResponse(address(f"/units/{power_unit_id}/sound", {}, **filled), 303)
