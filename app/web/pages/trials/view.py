"""Context of the trial page, in a reader's order: results, quality, sources."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from app.compute.wording.numbers import MeasuredText, listed, measured_text, not_within
from app.compute.wording.rounding import decimals_from_size, rounded_text
from app.reading_files.headers.channels import channel
from app.services.history.change_history import DescribedChange
from app.services.logs.trial_kinds import EMPTY_ROOM
from app.services.trials.decay_curves import SCALES
from app.web.forms.addresses import address
from app.web.forms.typed_form import TypedForm
from app.web.forms.unit_system import UnitSystem, units_from_form
from app.web.pages.adding_a_trial.fields import zone_of
from app.web.pages.adding_a_trial.mark_handles import MarkHandle, handles_of
from app.web.pages.trials.marks import figure_addresses, form_of_marks, found_marks, title_of
from app.web.pages.verdict import ShownVerdict, shown_verdict
from app.web.templating.page_context import Switch


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """A line of the systematic budget; share [%] "assumed" where one log cannot show it."""

    source: str
    share: str
    basis: str


@dataclass(frozen=True, slots=True)
class ResultRow:
    """Results of one channel as text; None for a quantity without value or uncertainty.

    the fields ending in `_alone` : the number alone, where its uncertainty is not known; "" where the
            quantity does not exist
    """

    channel: str
    label: str
    unit: str
    usable: bool
    is_indicative: str
    start_level: MeasuredText | None
    start_level_alone: str
    background: MeasuredText | None
    background_alone: str
    fit_window: str
    total_decay: MeasuredText | None
    natural_decay: MeasuredText | None
    clean_air: MeasuredText | None
    air_changes: MeasuredText | None
    standard_clearing_time: MeasuredText | None
    time_to_clear: MeasuredText | None
    time_to_clear_alone: str
    is_bound: bool
    predicted: MeasuredText | None
    r_squared: str
    window_sensitivity: str
    budget: Sequence[BudgetRow]
    logger_noise: str
    logger_linearity: str
    notes: Sequence[Any]


@dataclass(frozen=True, slots=True)
class TrialPage:
    """`trial` is the trial as stored, with unit, setting, room, source, logger and log."""

    title: str
    verdict: ShownVerdict | None
    answer: str
    address_problems: Sequence[str]
    trial: Any
    logger_overdue: str
    started: str
    results: Sequence[ResultRow]
    shown: str
    switches: Sequence[Switch]
    flow_symbol: str
    figure_url: str
    residuals_url: str
    sizes_words: str
    download_query: str
    empty_rooms: Sequence[int]
    method_versions: str
    form: TypedForm
    found: dict[str, str]
    handles: Sequence[MarkHandle]
    channel: str
    changes: Sequence[DescribedChange]

    @property
    def is_empty_room(self) -> bool:
        return bool(self.trial.kind == EMPTY_ROOM)


def trial_page(detail: Any, changes: Sequence[DescribedChange], query: TypedForm) -> TrialPage:
    """The page of a TrialDetail; the URL may select channel, scale and units of measure."""
    trial = detail.trial
    asked = query.one_of("channel", "The channel", tuple(each.channel for each in detail.channels))
    shown = detail.channel(asked) or next(iter(detail.channels), None)
    name = shown.channel if shown else ""
    scale = query.one_of("scale", "The scale", SCALES) or "linear"
    system = units_from_form(query)
    form = form_of_marks(trial)
    found = found_marks(shown.result) if shown else {}
    figure, _ = figure_addresses(trial.id, name, TypedForm(), scale=scale)
    _, residuals = figure_addresses(trial.id, name, TypedForm())
    path = f"/trials/{trial.id}"
    return TrialPage(
        title=title_of(trial),
        verdict=shown_verdict(shown.verdict, channel(name).label, trial.id, form, name) if shown else None,
        answer=_answer(detail, shown, system),
        address_problems=query.problems,
        trial=trial,
        logger_overdue=detail.logger_overdue,
        started=_with_zone(trial.started_at.astimezone(zone_of(trial.log.timezone))),
        results=[_result_row(each, system) for each in detail.channels],
        shown=name,
        switches=_switches(detail, name, scale, system, path, query),
        flow_symbol=system.flow_symbol,
        figure_url=figure if shown else "",
        sizes_words=_sizes_words(detail),
        residuals_url=residuals if shown and shown.result.fit_window_start_min is not None else "",
        download_query=urlencode({"trial": trial.id, "channel": name, "scale": scale}),
        empty_rooms=sorted({run for each in detail.channels for run in each.empty_room_trials}),
        method_versions=listed(sorted({each.result.method_version for each in detail.channels})),
        form=form,
        found=found,
        handles=handles_of(form, found, empty_room=trial.kind == EMPTY_ROOM),
        channel=name,
        changes=changes,
    )


def _sizes_words(detail: Any) -> str:
    """What the chart of rates by size shows; "" without one."""
    from app.services.trials.rates_by_size import rates_by_size, rates_words  # loaded when used: it needs scipy

    rates = rates_by_size(detail.channels)
    return rates_words(rates) if rates else ""


def _with_zone(moment: datetime) -> str:
    """A time of day with its time zone."""
    return f"{moment:%Y-%m-%d %H:%M} {moment.tzinfo}"


def _answer(detail: Any, shown: Any, system: UnitSystem) -> str:
    """The result of the shown channel in one or two sentences."""
    if shown is None:
        return "The log has no particle or vapour channel, so there is no decay to analyse."
    label, total = channel(shown.channel).label, shown.total_decay
    if total is None or shown.verdict.status == "unusable":
        return f"This trial gives no result for {label}."
    words = measured_text(total.value, total.uncertainty, total.low_95, total.high_95)
    sentences = [f"{label} fell at {words.with_interval} per hour."]
    if detail.trial.kind == EMPTY_ROOM:
        room = detail.trial.room.name
        sentences = [f"Without a unit, {label} fell at {words.with_interval} per hour: the natural decay of {room}."]
    rate = shown.clean_air_delivery_rate
    codes = {note.code for note in shown.notes}
    if rate is not None:
        flow = system.flow_text(rate.value, rate.uncertainty, rate.low_95, rate.high_95)
        if "no_measurable_cleaning" in codes:
            sentences.append(
                f"The clean air delivery rate of {flow.with_interval} {system.flow_symbol} cannot be distinguished "
                "from zero."
            )
        else:
            sentences.append(f"That is {flow.with_interval} {system.flow_symbol} of clean air.")
    elif detail.trial.kind == "unit running":
        sentences.append("There is no matching empty-room run of this room, so the unit's contribution is not known.")
    if shown.result.cleared and shown.result.time_to_clear_min is not None:
        cleared = _words(shown.time_to_clear)
        after = cleared.with_interval if cleared else rounded_text(shown.result.time_to_clear_min, 1)
        sentences.append(f"The room was clear after {after} min.")
    elif shown.result.not_cleared_before_min is not None:
        watched = not_within(shown.result.not_cleared_before_min).removeprefix("> ")
        again = ", when the level rose again" if "rises_again" in codes else ""
        sentences.append(f"The room was not clear when the run ended, after {watched}{again}.")
    return " ".join(sentences)


def _result_row(detail: Any, system: UnitSystem) -> ResultRow:
    result, rate = detail.result, detail.clean_air_delivery_rate
    clear, is_bound = "", False
    if result.cleared and result.time_to_clear_min is not None:
        clear = rounded_text(result.time_to_clear_min, 1)
    elif result.not_cleared_before_min is not None:
        clear, is_bound = not_within(result.not_cleared_before_min).removesuffix("\u00a0min"), True
    return ResultRow(
        channel=result.channel,
        label=channel(result.channel).label,
        unit=result.unit,
        usable=result.usable,
        is_indicative=_indicative(result.channel),
        start_level=_words(detail.start_level),
        start_level_alone=_plain(result.start_level),
        background=_words(detail.background_level),
        background_alone="" if result.background_level is None else _plain(result.background_level),
        fit_window=_window(result),
        total_decay=_words(detail.total_decay),
        natural_decay=_words(detail.natural_decay),
        clean_air=None if rate is None else system.flow_text(rate.value, rate.uncertainty, rate.low_95, rate.high_95),
        air_changes=_words(detail.air_changes),
        standard_clearing_time=_words(detail.standard_clearing_time),
        time_to_clear=_words(detail.time_to_clear),
        time_to_clear_alone=clear,
        is_bound=is_bound,
        predicted=None if result.cleared else _words(detail.predicted_clear_min),
        r_squared="–" if result.r_squared is None else rounded_text(result.r_squared, 4),
        window_sensitivity=_plain(result.window_sensitivity_per_h),
        budget=[_budget_row(line) for line in detail.systematic],
        logger_noise=_logger_noise(result.noise_prior_trials),
        logger_linearity=detail.logger_linearity,
        notes=detail.notes,
    )


def _logger_noise(trials: int | None) -> str:
    if not trials:
        return "The noise of the logger is not known from other trials."
    return f"The noise of the logger is known from {trials} other trial{'' if trials == 1 else 's'}."


def _budget_row(line: Any) -> BudgetRow:
    percent = 100 * line.relative_uncertainty
    return BudgetRow(line.source, f"{percent:.2g}" if percent > 0 else "assumed", line.basis)


def _indicative(name: str) -> str:
    """A caution for channels that optical and metal-oxide sensors measure poorly."""
    if name.startswith("pm10"):
        return "weak from optical sensors"
    return "indicative only" if name.startswith("voc") else ""


def _window(result: Any) -> str:
    start, end = result.fit_window_start_min, result.fit_window_end_min
    if start is None or end is None:
        return "–"
    return f"{rounded_text(start, 1)} to {rounded_text(end, 1)}"


def _words(quantity: Any) -> MeasuredText | None:
    if quantity is None:
        return None
    return measured_text(quantity.value, quantity.uncertainty, quantity.low_95, quantity.high_95)


def _plain(value: float | None) -> str:
    return "–" if value is None else rounded_text(value, decimals_from_size(value))


def _switches(
    detail: Any, name: str, scale: str, system: UnitSystem, path: str, query: TypedForm
) -> tuple[Switch, ...]:
    def to(**changes: object) -> str:
        return address(path, query.values, **changes)

    channels = tuple(
        (channel(each.channel).label, to(channel=each.channel), each.channel == name) for each in detail.channels
    )
    return (
        *((Switch("Channel", channels),) if len(channels) > 1 else ()),
        Switch(
            "Axis", (("linear", to(scale=None), scale == "linear"), ("logarithmic", to(scale="log"), scale == "log"))
        ),
        Switch(
            "Unit of measure",
            (("m³/h", to(units=None), system.key == "metric"), ("cfm", to(units="us"), system.key == "us")),
        ),
    )
