"""Sound clips of a unit: results, adding one with its calibration, deleting one."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from app.compute.wording.numbers import listed
from app.services.measurements.definitions import NewClip
from app.services.measurements.sound_clips import SoundClip, add_clip, clips_of_unit, delete_clip
from app.services.units.entry import get_unit
from app.services.units.speed_settings import settings_of
from app.web.api.shapes import Id
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.typed_form import TypedForm, TypedFormDep, empty_form
from app.web.routers import page_router
from app.web.templating.page_context import Choice

router = page_router()


@dataclass(frozen=True, slots=True)
class ClipText:
    """Results of one clip as text."""

    id: int
    title: str
    facts: tuple[tuple[str, str], ...]
    character: tuple[str, ...]
    cautions: tuple[str, ...]
    calibrated: bool


@dataclass(frozen=True, slots=True)
class ClipsPage:
    unit_id: int
    name: str
    form: TypedForm
    settings: Sequence[Choice]
    clips: Sequence[ClipText]
    what: str = "clips"


@router.get("/units/{unit_id}/clips")
def clips(unit_id: Id, session: SessionDep, render: RenderDep) -> Response:
    form = empty_form(recorded_on=datetime.now(UTC).date(), tone_level_db=94, channel=1)
    return render("pages/units/clips.html", _page(session, unit_id, form))


@router.post("/units/{unit_id}/clips")
def clip_added(unit_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    setting_id = form.whole_number("setting", "The setting")
    clip, tone = form.files.get("clip"), form.files.get("tone")
    if setting_id is None:
        form.add_error("setting", "No setting selected. Every recording needs a setting.")
    if clip is None or not clip.filename:
        form.add_error("clip", "No file selected. Choose a WAV or FLAC recording.")
    files = _files(clip, "") | _files(tone, "tone_")
    new = form.entry(NewClip, **{"content": b"", "file_name": "", "tone_content": None, "tone_file_name": ""} | files)
    if form.is_good and setting_id is not None and new is not None:
        with form.attempt(session):
            add_clip(session, unit_id, setting_id, new, who=new.recorded_by)
            return RedirectResponse(f"/units/{unit_id}/clips", 303)
    return render("pages/units/clips.html", _page(session, unit_id, form), status_code=422)


def _files(file: Any, prefix: str) -> dict[str, Any]:
    """Content and name of an uploaded file; nothing without one."""
    if file is None or not file.filename:
        return {}
    return {f"{prefix}content": file.file.read(), f"{prefix}file_name": file.filename}


@router.post("/units/{unit_id}/clips/{clip_id}/take-back")
def clip_deleted(unit_id: Id, clip_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    with form.attempt(session):
        delete_clip(session, clip_id, who=form.text("who"), why=form.text("why"))
        return RedirectResponse(f"/units/{unit_id}/clips", 303)
    return render("pages/units/clips.html", _page(session, unit_id, form), status_code=422)


def _page(session: Session, unit_id: int, form: TypedForm) -> ClipsPage:
    unit = get_unit(session, unit_id)
    settings = settings_of(session, unit_id)
    names = {setting.id: setting.name for setting in settings}
    chosen = form.typed("setting")
    return ClipsPage(
        unit_id,
        f"{unit.maker} {unit.model}",
        form,
        [
            Choice("", "choose one", not chosen),
            *(Choice(str(setting.id), setting.name, str(setting.id) == chosen) for setting in settings),
        ],
        [clip_text(clip, names.get(clip.setting_id, "")) for clip in clips_of_unit(session, unit_id)],
    )


def clip_text(clip: SoundClip, title: str) -> ClipText:
    """Results of a clip for the page, without levels if it is not calibrated."""
    calibrated = clip.pascal_per_unit is not None
    facts = [
        ("Recorded", f"{clip.recorded_on.isoformat()}, {clip.duration_s:.0f}\u00a0s, at {clip.distance_m:g}\u00a0m")
    ]
    if calibrated:
        facts += [
            ("Equivalent level", f"{clip.equivalent_level_dba:.1f}\u00a0dB(A)"),
            ("Maximum (Fast)", f"{clip.fast_maximum_dba:.1f}\u00a0dB(A)"),
            (
                "Exceeded 10 % and 90 % of the time (L10, L90)",
                f"{clip.l10_dba:.1f} and {clip.l90_dba:.1f}\u00a0dB(A)",
            ),
        ]
    facts += [("Tones", tone_text(clip)), ("Calibration", _calibration_text(clip))]
    return ClipText(
        clip.id,
        title,
        tuple(facts),
        tuple(clip.character_words.splitlines()),
        tuple(clip.cautions.splitlines()),
        calibrated,
    )


def tone_text(clip: SoundClip) -> str:
    """Prominent tones by the named method, or that there are none."""
    prominent = [
        f"{tone.frequency_hz:.0f}\u00a0Hz ({tone.prominence_ratio_db:.1f}\u00a0dB, "
        f"prominent from {tone.criterion_db:.1f}\u00a0dB)"
        for tone in clip.tones
        if tone.prominent
    ]
    if not prominent:
        return f"no prominent tone ({clip.tone_method})"
    return f"prominent at {listed(prominent)} ({clip.tone_method})"


def _calibration_text(clip: SoundClip) -> str:
    if clip.calibration_kind == "tone":
        return f"a tone of {clip.calibration_level_db:g}\u00a0dB at {clip.calibration_tone_hz:.0f}\u00a0Hz"
    if clip.calibration_kind == "known level":
        return f"{clip.calibration_level_db:g}\u00a0dB(A) read beside the microphone"
    return "none, so no level can be given"
