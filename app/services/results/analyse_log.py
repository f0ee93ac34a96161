"""Analysis of one log file without a store, for `hazefall analyse`."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from app.compute.clean_air.natural_decay import EmptyRoomRun, NaturalDecay, pool_natural_decay
from app.compute.clean_air.rate import air_changes_per_h, clean_air_delivery_rate, detection, standard_clearing_time
from app.compute.decay.result import ChannelDecay, ClearLevel, Marks
from app.compute.decay.systematic import SystematicLine, budget_of
from app.compute.decay.verdict import Verdict, verdict_of
from app.compute.method import METHOD_NAME, METHOD_VERSION
from app.compute.statistics.asymmetric import AsymmetricMeasured
from app.compute.statistics.measured import Measured
from app.compute.wording.notes import Note
from app.errors import InvalidValue, NoDecayFound
from app.reading_files.headers.channels import is_particle_channel
from app.reading_files.log_table import LogTable, ReadingChoices
from app.reading_files.read_log import read_log
from app.services.logs.hours_into_log import hours_into_log
from app.services.logs.readings import LogReadings
from app.services.results.analyse_channels import AnalysisTerms, analyse_channels, analyse_readings
from app.services.results.control_charts.runs import day_number
from app.services.results.derived_values import no_measurable_cleaning, no_standard_time


@dataclass(frozen=True, slots=True)
class LogFile:
    """A log file as given."""

    content: bytes
    file_name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AnalysisRequest:
    """Options of the analysis besides the log.

    room_volume : [m³]; volume_is_exact: no uncertainty was given
    empty_rooms : logs of runs without the unit; or natural_decay, a given value [1/h]
    channels : names; empty: every particle channel found
    unit_on, end : an ISO 8601 time, or minutes from the first reading such as "12.5min"; None: detected from the data
    background, clear_level : in the unit of the channel; None: detected from the data, and the default clear level
    """

    room_volume: Measured
    volume_is_exact: bool = False
    empty_rooms: tuple[LogFile, ...] = ()
    natural_decay: Measured | None = None
    channels: tuple[str, ...] = ()
    unit_on: str | None = None
    end: str | None = None
    background: float | None = None
    clear_level: float | None = None
    choices: ReadingChoices = field(default_factory=ReadingChoices)


@dataclass(frozen=True, slots=True)
class ChannelAnalysis:
    """One channel: its decay, and the results with natural decay and room. None: does not exist, as in an unusable
    trial. volume_share : relative uncertainty of the room volume, part of that of the clean air delivery rate
    """

    decay: ChannelDecay
    total_decay: Measured | None
    natural_decay: Measured | None
    clean_air_delivery_rate: Measured | None
    air_changes_per_h: Measured | None
    standard_clearing_time_min: AsymmetricMeasured | None
    notes: tuple[Note, ...]
    volume_share: float | None = None

    @property
    def verdict(self) -> Verdict:
        return verdict_of(self.notes)

    @property
    def systematic(self) -> tuple[SystematicLine, ...]:
        """Budget of the decay rate; empty without one."""
        fit = self.decay.fit
        return () if fit is None else budget_of(fit, self.volume_share)


@dataclass(frozen=True, slots=True)
class LogAnalysis:
    """The analysis of a log. `table` is what was read."""

    method_name: str
    method_version: str
    table: LogTable
    channels: dict[str, ChannelAnalysis]


def analyse_log(log: LogFile, request: AnalysisRequest) -> LogAnalysis:
    """Reads and analyses a log.

    Raises UnreadableLog for a file that is not a log, InvalidValue for a channel or time that is not in it,
    NoDecayFound if no chosen channel contains a decay.
    """
    table = read_log(log.content, log.file_name, request.choices)
    chosen = _chosen_channels(table, log.file_name, request.channels)
    terms = AnalysisTerms(
        marks=_marks(table, request),
        clear_level=ClearLevel() if request.clear_level is None else ClearLevel("absolute", request.clear_level),
        background_in_any_unit=True,
        clear_level_in_any_unit=request.clear_level is not None,
    )
    decays = analyse_channels(table.elapsed_s, table.levels, table.units, terms, chosen)
    if not any(_rate(decay) is not None or decay.rejected_fit is not None for decay in decays.values()):
        raise NoDecayFound(_why_none(log.file_name, chosen, decays))
    pools, said = _natural_decays(request, tuple(decays), day_number(table.started_at))
    return LogAnalysis(
        METHOD_NAME,
        METHOD_VERSION,
        table,
        {name: _channel(decay, pools.get(name), said.get(name, ()), request) for name, decay in decays.items()},
    )


def _chosen_channels(table: LogTable, file_name: str, asked: Sequence[str]) -> list[str]:
    missing = [name for name in asked if name not in table.levels]
    if missing:
        raise InvalidValue(
            f"{file_name} has no channel {missing[0]!r}; its channels are: {', '.join(table.levels) or 'none'}. "
            "Choose one of these, or assign a column with --columns COLUMN=CHANNEL.",
            field="channel",
        )
    chosen = list(asked) or [name for name in table.levels if is_particle_channel(name)]
    if not chosen:
        raise NoDecayFound(
            f"{file_name} has no particle channel; its channels are: {', '.join(table.levels) or 'none'}. Name the "
            "channel to analyse with --channel, or assign a column with --columns COLUMN=CHANNEL."
        )
    return chosen


def _marks(table: LogTable, request: AnalysisRequest) -> Marks:
    unit_on = hours_into_log(request.unit_on, table, "unit_on", "Unit on")
    end = hours_into_log(request.end, table, "end", "The end of the run")
    if unit_on is not None and end is not None and end <= unit_on:
        raise InvalidValue(
            f"The run end is at {60 * end:g} min and unit on at {60 * unit_on:g} min; the end must be after unit on. "
            "Correct one of the two.",
            field="end",
        )
    return Marks(unit_on_h=unit_on, end_h=end, background_level=request.background)


def _rate(decay: ChannelDecay) -> Measured | None:
    return decay.fit.decay_rate if decay.fit else None


def _why_none(file_name: str, chosen: Sequence[str], decays: dict[str, ChannelDecay]) -> str:
    reasons = [
        f"{name}: {decays[name].fit.why_not}"  # type: ignore[union-attr]  # asked for in the same line
        if name in decays and decays[name].fit is not None
        else f"{name}: no readings"
        for name in chosen
    ]
    return f"{file_name} has no decay that can be analysed. {' '.join(reasons)}"


def _natural_decays(
    request: AnalysisRequest, channels: Sequence[str], day: float
) -> tuple[dict[str, Measured], dict[str, tuple[Note, ...]]]:
    if request.natural_decay is not None:
        exact = request.natural_decay.uncertainty == 0
        return dict.fromkeys(channels, request.natural_decay), {
            name: (_natural_decay_taken_as_exact(request.natural_decay.value),) for name in channels if exact
        }
    runs: dict[str, list[EmptyRoomRun]] = {name: [] for name in channels}
    said: dict[str, list[Note]] = {name: [] for name in channels}
    for number, log in enumerate(request.empty_rooms, start=1):
        table = read_log(log.content, log.file_name, request.choices)
        analysed = analyse_readings(
            LogReadings(table.elapsed_s, table.levels, table.units), AnalysisTerms(empty_room=True)
        )
        for name in channels:
            decay = analysed.decays.get(name)
            rate = _rate(decay) if decay else None
            if decay is None or rate is None or not rate.uncertainty > 0:
                said[name].append(_no_natural_decay_in(log.file_name, name))
                continue
            runs[name].append(
                EmptyRoomRun(
                    number, rate, day_number(table.started_at), analysed.relative_humidity_pct, decay.start_level
                )
            )
    pools = {name: pool_natural_decay(of_channel, day=day) for name, of_channel in runs.items() if of_channel}
    for name in channels:
        said[name].append(_resting_on(pools[name]) if name in pools else _missing_natural_decay())
    return {name: pool.on_one_day for name, pool in pools.items()}, {n: tuple(notes) for n, notes in said.items()}


def _channel(
    decay: ChannelDecay, natural: Measured | None, said: tuple[Note, ...], request: AnalysisRequest
) -> ChannelAnalysis:
    total = _rate(decay)
    notes = [*decay.notes, *said]
    clearing = standard_clearing_time(total) if total else None
    if total is not None and clearing is None:
        notes.append(no_standard_time(total))
    if decay.time_to_clear.predicted is None and total is not None:
        notes.append(_no_prediction(decay))
    bare = ChannelAnalysis(decay, total, natural, None, None, clearing, tuple(notes))
    if total is None or natural is None:
        return bare
    if request.volume_is_exact:
        notes.append(_volume_taken_as_exact(request.room_volume.value))
    rate = clean_air_delivery_rate(total, natural, request.room_volume)
    limit = detection(total, natural, request.room_volume)
    if not limit.measurable:
        notes.append(no_measurable_cleaning(rate.value, limit.decision_threshold, limit.at_most))
    return replace(
        bare,
        clean_air_delivery_rate=rate,
        air_changes_per_h=air_changes_per_h(total, natural),
        notes=tuple(notes),
        volume_share=request.room_volume.uncertainty / request.room_volume.value,
    )


def _no_prediction(decay: ChannelDecay) -> Note:
    return Note(
        "no_predicted_time",
        "fine",
        "No time to clear is predicted: the fitted curve does not reach the clear level of "
        f"{decay.time_to_clear.clear_level:.3g} {decay.unit} at a determinable time.",
        value=decay.time_to_clear.clear_level,
        unit=decay.unit,
    )


def _missing_natural_decay() -> Note:
    return Note(
        "natural_decay_missing",
        "care",
        "No natural decay was specified and no empty-room log gave one, so the clean air delivery rate is not known; "
        "only the total decay is given. Add a run in the same room with --empty-room.",
    )


def _no_natural_decay_in(file_name: str, channel: str) -> Note:
    return Note(
        "natural_decay_run_unusable",
        "care",
        f"The empty-room log {file_name} gave no decay rate for {channel} and was not used.",
    )


def _resting_on(pool: NaturalDecay) -> Note:
    return Note(
        "natural_decay_runs",
        "fine",
        f"The natural decay is based on {pool.number_of_runs} empty-room "
        f"{'run' if pool.number_of_runs == 1 else 'runs'}; spread between days from {pool.between_run_source}.",
        value=float(pool.number_of_runs),
    )


def _natural_decay_taken_as_exact(rate_per_h: float) -> Note:
    return Note(
        "natural_decay_taken_as_exact",
        "care",
        f"No uncertainty of the natural decay was specified; {rate_per_h:g} per hour is taken as exact, so the "
        "interval of the clean air delivery rate is too narrow. Give --natural-decay-uncertainty-per-h.",
        value=rate_per_h,
        unit="1/h",
    )


def _volume_taken_as_exact(volume_m3: float) -> Note:
    return Note(
        "room_volume_taken_as_exact",
        "care",
        f"No uncertainty of the room volume was specified; {volume_m3:g} m³ is taken as exact, so the interval of the "
        "clean air delivery rate is too narrow. Give --room-volume-uncertainty-m3.",
        value=volume_m3,
        unit="m³",
    )
