"""Clips of chosen units at their true relative loudness, with their spectra."""

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import Request
from starlette.responses import HTMLResponse, Response

from app.errors import HazefallError, InvalidValue
from app.figures.charts.sound_spectra import spectra_text
from app.services.measurements.listening import MOST_CLIPS, ListedClip, Listening, listening
from app.services.measurements.sound_clips import playable
from app.services.units.entry import has_units
from app.web.api.shapes import Id
from app.web.dependencies import RenderDep, SessionDep
from app.web.downloads.byte_ranges import ranged_answer
from app.web.forms.addresses import query_form
from app.web.forms.chart_choices import chosen_clips
from app.web.forms.typed_form import TypedForm
from app.web.pages.units.clips import ClipText, clip_text
from app.web.routers import page_router
from app.web.templating.page_context import Choice

router = page_router()
PATH = "/listen"


@dataclass(frozen=True, slots=True)
class PlayedClip:
    """One clip with its player; `quieter_words` compares it with the loudest of those chosen."""

    words: ClipText
    unit_id: int
    sound_address: str
    level: str
    quieter_words: str


@dataclass(frozen=True, slots=True)
class ListenPage:
    """Context of the Listen template."""

    title: str
    answer: str
    is_empty: bool
    has_units: bool
    played: Sequence[PlayedClip]
    choices: Sequence[Choice]
    most_clips: int
    not_calibrated: int
    distances_differ: bool
    chart_query: str
    spectra_text: str
    form: TypedForm


@router.get(PATH)
def listen(request: Request, session: SessionDep, render: RenderDep) -> HTMLResponse:
    form = query_form(request.query_params)
    try:
        found = listening(session, chosen_clips(form))
    except HazefallError as error:
        form.add_error(error.field or "clip", error.message)
        found = listening(session)
    status = 200 if form.is_good else 422
    return render(
        "pages/units/listen.html", _page(found, form, has_units(session)), status_code=status, charts=bool(found.chosen)
    )


@router.get("/listen/{clip_id}.wav")
def clip_sound(clip_id: Id, request: Request, session: SessionDep) -> Response:
    """The clip with full scale at `pa` pascals, so that clips with the same `pa` keep their relative loudness."""
    form = query_form(request.query_params)
    full_scale_pa = form.number("pa", "The pressure at full scale")
    if full_scale_pa is None:
        raise InvalidValue("This URL needs the pressure at full scale; add ?pa= and a number in Pa.", field="pa")
    content = playable(session, clip_id, full_scale_pa)
    tag = f'"{hashlib.sha256(content).hexdigest()[:32]}"'
    headers = {"ETag": tag, "Cache-Control": "private, max-age=3600", "Content-Disposition": "inline"}
    return ranged_answer(content, "audio/wav", request.headers.get("range"), headers)


def _page(found: Listening, form: TypedForm, any_unit: bool) -> ListenPage:
    chosen = found.chosen
    ids = {entry.clip.id for entry in chosen}
    return ListenPage(
        title="Listen and compare",
        answer=_answer(chosen),
        is_empty=not found.clips,
        has_units=any_unit,
        played=[_played(entry, found) for entry in chosen],
        choices=[
            Choice(
                str(entry.clip.id),
                f"{entry.name}, {entry.clip.equivalent_level_dba:.0f}\u00a0dB(A)",
                entry.clip.id in ids,
            )
            for entry in found.clips
            if entry.calibrated
        ],
        most_clips=MOST_CLIPS,
        not_calibrated=found.not_calibrated,
        distances_differ=len({entry.clip.distance_m for entry in chosen}) > 1,
        chart_query="&".join(f"clip={entry.clip.id}" for entry in chosen),
        spectra_text=spectra_text(chosen),
        form=form,
    )


def _played(entry: ListedClip, found: Listening) -> PlayedClip:
    clip = entry.clip
    loudest = max(other.clip.equivalent_level_dba for other in found.chosen)
    quieter_db = loudest - clip.equivalent_level_dba
    words = "the loudest of these" if quieter_db == 0 else f"{quieter_db:.0f}\u00a0dB quieter than the loudest of these"
    return PlayedClip(
        clip_text(clip, entry.name),
        clip.unit_under_test_id,
        f"/listen/{clip.id}.wav?pa={_rounded_up(found.full_scale_pa):.6g}",
        f"{clip.equivalent_level_dba:.0f}",
        words,
    )


def _rounded_up(pressure_pa: float) -> float:
    """Rounds up to four digits, so that the loudest clip still fits and the URL stays short.

    >>> _rounded_up(0.0123456)
    0.01235
    """
    if pressure_pa <= 0:
        return 1.0
    step = 10.0 ** (math.floor(math.log10(pressure_pa)) - 3)
    return round(math.ceil(pressure_pa / step - 1e-9) * step, 12)


def _answer(chosen: Sequence[ListedClip]) -> str:
    if not chosen:
        return "No calibrated clip selected."
    softest, loudest = chosen[0], chosen[-1]
    if softest is loudest:
        return f"{loudest.name}: {loudest.clip.equivalent_level_dba:.0f}\u00a0dB(A)."
    return (
        f"From {softest.name}, {softest.clip.equivalent_level_dba:.0f}\u00a0dB(A), to {loudest.name}, "
        f"{loudest.clip.equivalent_level_dba:.0f}\u00a0dB(A)."
    )
