"""The draft review of a unit: read it, edit its strengths and weaknesses, and write the verdict."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from app.compute.wording.numbers import counted
from app.services.reviews.thresholds import THRESHOLDS
from app.services.reviews.verdicts import (
    DRAFT,
    PUBLISHED,
    OutdatedText,
    Verdict,
    outdated_texts,
    save_verdict,
    verdicts_of_unit,
    withdraw_verdict,
)
from app.services.reviews.wording import Draft, DraftPoint, plain
from app.services.units.entry import get_unit
from app.web.api.shapes import Id
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.typed_form import TypedForm, TypedFormDep, empty_form
from app.web.routers import page_router
from app.web.templating.page_context import Choice

router = page_router()
_STATE_WORDS = {DRAFT: "draft (internal)", PUBLISHED: "published"}
_KINDS = ("strength", "weakness")
_KEPT_WORDS = {"kept": "included in the draft", "left out": "left out"}


@dataclass(frozen=True, slots=True)
class PointForm:
    """A point with its edit form; `typed` is the text in the form."""

    point: DraftPoint
    typed: str
    kinds: Sequence[Choice]
    states: Sequence[Choice]
    versions: Sequence[Any]
    is_open: bool


@dataclass(frozen=True, slots=True)
class DraftPage:
    """Context of the draft page. `verdicts` holds all versions, newest first; `with_readers` is the number of the
    published one, 0 if none.
    """

    title: str
    unit_id: int
    name: str
    answer: str
    draft: Draft
    points: dict[str, Sequence[PointForm]]
    new_kinds: Sequence[Choice]
    verdicts: Sequence[Verdict]
    with_readers: int
    verdict_words: str
    verdict_states: Sequence[Choice]
    outdated: OutdatedText | None
    rules: Sequence[tuple[str, str]]
    form: TypedForm


@router.get("/units/{unit_id}/draft")
def show_draft(unit_id: Id, session: SessionDep, render: RenderDep) -> Response:
    return render("pages/reviews/draft.html", _page(session, unit_id, empty_form()))


@router.post("/units/{unit_id}/draft/points")
def point_saved(unit_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    from app.services.reviews.draft import review_draft  # loaded when used: it needs scipy
    from app.services.reviews.points import PointEdit, save_point  # loaded when used: with the rules

    get_unit(session, unit_id)
    given = {point.key: plain(point.given) for point in _all_points(review_draft(session, unit_id))}
    with form.attempt(session):
        key = save_point(
            session,
            unit_id,
            PointEdit(
                key=form.text("key"),
                kind=form.typed("kind"),
                words=form.text("words"),
                state=form.typed("state", "kept"),
                evidence=given.get(form.text("key"), ""),
            ),
            who=form.text("who"),
            why=form.text("why"),
        )
        return RedirectResponse(f"/units/{unit_id}/draft#point-{key}", 303)
    return render("pages/reviews/draft.html", _page(session, unit_id, form), status_code=422)


@router.post("/units/{unit_id}/draft/verdict")
def verdict_saved(unit_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    get_unit(session, unit_id)
    with form.attempt(session):
        save_verdict(session, unit_id, form.text("verdict"), form.typed("state", DRAFT), who=form.text("who"))
        return RedirectResponse(f"/units/{unit_id}/draft#verdict-heading", 303)
    return render("pages/reviews/draft.html", _page(session, unit_id, form), status_code=422)


@router.post("/units/{unit_id}/draft/verdict/withdraw")
def verdict_withdrawn(unit_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    get_unit(session, unit_id)
    with form.attempt(session):
        withdraw_verdict(session, unit_id, form.text("withdraw_why"), who=form.text("who"))
        return RedirectResponse(f"/units/{unit_id}/draft#verdict-heading", 303)
    return render("pages/reviews/draft.html", _page(session, unit_id, form), status_code=422)


def _all_points(draft: Draft) -> list[DraftPoint]:
    return [point for section in draft.sections for point in section.points]


def _page(session: Session, unit_id: int, form: TypedForm) -> DraftPage:
    from app.services.reviews.draft import review_draft  # loaded when used: it needs scipy
    from app.services.reviews.points import versions_of_points  # loaded when used: with the rules

    unit = get_unit(session, unit_id)
    name = f"{unit.maker} {unit.model}"
    draft = review_draft(session, unit_id)
    versions = versions_of_points(session, unit_id)
    verdicts = verdicts_of_unit(session, unit_id)
    latest = verdicts[0] if verdicts else None
    stored = latest.state if latest and latest.withdrawal is None else DRAFT
    state = form.typed("state", stored)
    return DraftPage(
        title=f"Draft review: {name}",
        unit_id=unit_id,
        name=name,
        answer=_answer(draft, len(verdicts)),
        draft=draft,
        points={
            section.key: [_point_form(point, versions, form) for point in section.points]
            for section in draft.sections
            if section.key in ("strengths", "weaknesses")
        },
        new_kinds=_choices(_KINDS, form.typed("kind") if not form.text("key") else ""),
        verdicts=verdicts,
        with_readers=_with_readers(verdicts),
        verdict_words=form.typed("verdict", latest.words if latest else ""),
        verdict_states=[Choice(value, words, value == state) for value, words in _STATE_WORDS.items()],
        outdated=outdated_texts(session, [unit_id]).get(unit_id),
        rules=[(key.replace("_", " "), words) for key, words in THRESHOLDS.items()],
        form=form,
    )


def _with_readers(verdicts: Sequence[Verdict]) -> int:
    published = next((row for row in verdicts if row.state == PUBLISHED), None)
    return 0 if published is None or published.withdrawal is not None else int(published.version)


def _answer(draft: Draft, verdicts: int) -> str:
    kept = [point for point in _all_points(draft) if not point.left_out]
    strengths = sum(point.kind == "strength" for point in kept)
    edited = sum(point.version > 0 for point in kept)
    weaknesses = counted(len(kept) - strengths, "weakness", "weaknesses")
    text = f"{counted(strengths, 'strength')} and {weaknesses} in the draft"
    text += f"; {edited} edited." if edited else "; none edited yet."
    return text + ("" if verdicts else " No verdict yet.")


def _point_form(point: DraftPoint, versions: Sequence[Any], form: TypedForm) -> PointForm:
    own = [row for row in versions if row.key == point.key]
    is_typed = bool(form.errors) and form.text("key") == point.key
    typed = form.typed("words") if is_typed else (own[-1].words if own else plain(point.given))
    kind = form.typed("kind", point.kind) if is_typed else point.kind
    state = form.typed("state", "kept") if is_typed else ("left out" if point.left_out else "kept")
    return PointForm(
        point=point,
        typed=typed,
        kinds=_choices(_KINDS, kind),
        states=[Choice(value, words, value == state) for value, words in _KEPT_WORDS.items()],
        versions=own,
        is_open=is_typed,
    )


def _choices(values: Sequence[str], chosen: str) -> list[Choice]:
    return [Choice(value, value, value == chosen) for value in values]
