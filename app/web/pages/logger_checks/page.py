"""The result of a check, and the record of a logger."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from app.compute.collocation.performance import TARGETS_SOURCE, AgainstReference, Precision, Target, targets_of
from app.compute.wording.numbers import counted, measured_text
from app.figures.charts.logger_checks import quantity_words, record_words
from app.reading_files.headers.channels import channel
from app.services.history.change_history import DescribedChange, change_history
from app.services.logs.logger_checks.add import delete_logger_check
from app.services.logs.logger_checks.definitions import WARM_UP
from app.services.logs.logger_checks.record import get_check, logger_record
from app.web.api.shapes import Id
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.typed_form import TypedForm, TypedFormDep, empty_form
from app.web.routers import page_router

router = page_router()


@dataclass(frozen=True, slots=True)
class Result:
    """One quantity of a check: its name, value with interval and unit, and what it means."""

    name: str
    value: str
    meaning: str


@dataclass(frozen=True, slots=True)
class CheckPage:
    """`check` is the row as stored; `targets` are empty for a channel that the report does not cover."""

    title: str
    answer: str
    check: Any
    results: Sequence[Result]
    notes: Sequence[str]
    targets: Sequence[Target]
    targets_source: str
    has_charts: bool
    form: TypedForm


@dataclass(frozen=True, slots=True)
class RecordLine:
    check: Any
    slope: str
    intercept: str
    zero: str
    settled: str


@dataclass(frozen=True, slots=True)
class RecordPage:
    logger: Any
    answer: str
    lines: Sequence[RecordLine]
    due: str
    has_charts: bool
    slope_words: str
    intercept_words: str
    changes: Sequence[DescribedChange]


@router.get("/logger-checks/{check_id}")
def check_shown(check_id: Id, session: SessionDep, render: RenderDep) -> Response:
    page = _check_page(session, check_id, empty_form())
    return render("pages/logger_checks/check.html", page, charts=page.has_charts)


@router.post("/logger-checks/{check_id}/take-back")
def check_deleted(check_id: Id, session: SessionDep, render: RenderDep, form: TypedFormDep) -> Response:
    from app.services.results.trial_results import checks_change  # loaded when used: it needs scipy

    with form.attempt(session):
        who, why = form.text("who"), form.text("why")
        with checks_change(session, who=who, why=f"a check of the logger was deleted: {why}"):
            logger_id = delete_logger_check(session, check_id, who=who, why=why)
        return RedirectResponse(f"/loggers/{logger_id}", 303)
    page = _check_page(session, check_id, form)
    return render("pages/logger_checks/check.html", page, charts=page.has_charts, status_code=422)


@router.get("/loggers/{logger_id}")
def record_shown(logger_id: Id, session: SessionDep, render: RenderDep) -> Response:
    record = logger_record(session, logger_id)
    has_charts = any(check.slope is not None for check in record.checks)
    page = RecordPage(
        logger=record.logger,
        answer=f"{record_words(record, 'slope')}." if has_charts else "No check beside a reference logger so far.",
        lines=[_line(check) for check in reversed(record.checks)],
        due=due_words(record.due_on, record.logger.check_interval_days, bool(record.checks), datetime.now(UTC).date()),
        has_charts=has_charts,
        slope_words=record_words(record, "slope"),
        intercept_words=record_words(record, "intercept"),
        changes=change_history(session, "logger", logger_id),
    )
    return render("pages/logger_checks/record.html", page, charts=has_charts)


def due_words(due_on: date | None, every_days: int | None, was_checked: bool, today: date) -> str:
    """When the next check is due.

    >>> due_words(date(2026, 3, 1), 90, True, date(2026, 3, 11))
    'The next check was due on 2026-03-01, 10 days ago. Trials recorded since then carry a note.'
    """
    if every_days is None:
        return "No time between checks is set, so none is due. Set one with “Edit details”."
    if due_on is None:
        return f"To be checked every {counted(every_days, 'day')}, and {'' if was_checked else 'never '}checked so far."
    if due_on < today:
        days = counted((today - due_on).days, "day")
        return f"The next check was due on {due_on.isoformat()}, {days} ago. Trials recorded since then carry a note."
    return f"The next check is due on {due_on.isoformat()}."


def _line(check: Any) -> RecordLine:
    return RecordLine(
        check=check,
        slope=quantity_words(check, "slope"),
        intercept=_with_unit(check, "intercept"),
        zero=_with_unit(check, "zero_level"),
        settled="–" if check.settled_after_min is None else f"{check.settled_after_min:.0f} min",
    )


def _with_unit(check: Any, quantity: str) -> str:
    words = quantity_words(check, quantity)
    return words if words == "–" else f"{words} {check.unit}"


def _check_page(session: Session, check_id: int, form: TypedForm) -> CheckPage:
    check = get_check(session, check_id)
    targets: Sequence[Target] = ()
    if check.channel == "pm2_5" and check.slope is not None and check.intercept is not None:
        precision = None
        if check.precision_sd is not None:
            precision = Precision(check.precision_sd, check.precision_cv_pct)
        against = AgainstReference(check.r_squared or 0.0, check.rmse or 0.0, check.nrmse_pct)
        targets = targets_of(check.slope, check.intercept, precision, against, check.unit)
    beside = f" beside {check.reference_logger.name}" if check.reference_logger else ""
    return CheckPage(
        title=f"{check.kind.capitalize()} check of {check.logger.name}{beside}",
        answer=_answer(check),
        check=check,
        results=_results(check),
        notes=[line for line in check.result_notes.splitlines() if line],
        targets=targets,
        targets_source=TARGETS_SOURCE,
        has_charts=check.slope is not None,
        form=form,
    )


def _answer(check: Any) -> str:
    if check.kind == WARM_UP:
        return (
            f"{check.logger.name} settled after {check.settled_after_min:.0f} min; at first it read "
            f"{100 * abs(check.first_excess):.0f} % too {'high' if check.first_excess >= 0 else 'low'}."
        )
    if check.slope is None:
        return f"In clean air {check.logger.name} reads {_with_unit(check, 'zero_level')}."
    straight = check.curvature_low_95 <= 0 <= check.curvature_high_95
    bend = "no curvature is seen" if straight else f"it departs from a line by {abs(check.departure_pct):.1f} %"
    return (
        f"Slope {quantity_words(check, 'slope')}, intercept {_with_unit(check, 'intercept')}; {bend} up to "
        f"{check.highest_level:.0f} {check.unit}."
    )


def _results(check: Any) -> list[Result]:
    found = []
    if check.slope is not None:
        minus = f"{check.clock_offset_s:.1f} ± {check.clock_offset_uncertainty_s:.1f} s".replace("-", "−")
        gains = (1e4 * end / check.slope for end in (check.curvature, check.curvature_low_95, check.curvature_high_95))
        curve = "{:.1f} % ({:.1f} to {:.1f}) per 100 {}".format(*gains, check.unit)
        nrmse = "" if check.nrmse_pct is None else f", {check.nrmse_pct:.1f} % of the mean"
        found += [
            Result("Clock offset", minus, "clock of the logger minus clock of the reference, removed before comparing"),
            Result("Slope", quantity_words(check, "slope"), "a gain cancels in a decay rate"),
            Result("Intercept", _with_unit(check, "intercept"), "an offset is part of the fitted background"),
            Result(
                "Curvature (quadratic term)",
                curve.replace("-", "−"),
                "change of the gain with the level; does not cancel",
            ),
            Result("R²", f"{check.r_squared:.4f}", ""),
            Result("RMSE", f"{check.rmse:.3g} {check.unit}{nrmse}", "logger minus reference"),
        ]
    if check.precision_sd is not None:
        share = "" if check.precision_cv_pct is None else f", {check.precision_cv_pct:.1f} % of the mean"
        words = f"{check.precision_sd:.3g} {check.unit}{share}"
        found.append(Result("Precision", words, f"between {check.loggers_together} loggers at the same times"))
    if check.zero_level is not None:
        limit = measured_text(
            check.detection_limit, None, check.detection_limit_low_95, check.detection_limit_high_95
        ).with_interval
        found += [
            Result("Zero level", _with_unit(check, "zero_level"), "mean reading in clean air"),
            Result("Limit of detection", f"{limit} {check.unit}", "3 standard deviations in clean air, above zero"),
        ]
    if check.settled_after_min is not None:
        found += [
            Result("Settled after", f"{check.settled_after_min:.0f} min", "ratio to the reference within 3 %"),
            Result("First minute", f"{100 * check.first_excess:+.1f} %".replace("-", "−"), "against the settled ratio"),
        ]
    if check.saturated_readings:
        found.append(Result("At the limit", counted(check.saturated_readings, "reading"), "left out of the comparison"))
    return [*found, Result("Channel", channel(check.channel).label, "")]
