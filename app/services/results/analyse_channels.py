"""Decay analysis of every particle channel of a log, with the checks between channels."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from app.compute.collocation.rate_effect import LoggerLine, with_curvature
from app.compute.decay.analysis import analyse_decay
from app.compute.decay.result import ChannelDecay, ClearLevel, Marks
from app.compute.decay.trial_quality import cross_channel_notes, judged, with_humidity_uncertainty
from app.compute.signal.logger_noise import GENERIC, LoggerNoise
from app.compute.signal.logger_timing import NOT_KNOWN, LoggerTiming
from app.compute.wording.notes import Note
from app.reading_files.headers.channels import channel as channel_named
from app.reading_files.headers.channels import is_particle_channel
from app.services.logs.readings import LogReadings

MASS_UNIT = "µg/m³"
# Where the clear level is a mass concentration, a channel of another unit counts as cleared at this share of its start
# level: the reduction of the standard clearing time.
SHARE_CLEARED = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class AnalysisTerms:
    """Settings of the analysis besides the readings.

    marks : in hours on the log's clock; the background in µg/m³ holds for mass channels alone
    clear_level : as for mass channels
    saturation_level_ug_m3, response_time_s, timing : of the logger
    empty_room : no unit was running
    of_logger : channel name to the logger's noise as its other trials show it; generic for the others
    lines : channel name to slope and curvature of the logger, where a check of it shows a curvature
    background_in_any_unit, clear_level_in_any_unit : they are in each channel's own unit, not for mass channels only,
            because they were given for the chosen channels
    """

    marks: Marks = field(default_factory=Marks)
    clear_level: ClearLevel = field(default_factory=ClearLevel)
    saturation_level_ug_m3: float | None = None
    response_time_s: float | None = None
    timing: LoggerTiming = NOT_KNOWN
    empty_room: bool = False
    of_logger: Mapping[str, LoggerNoise] = field(default_factory=dict)
    lines: Mapping[str, LoggerLine] = field(default_factory=dict)
    background_in_any_unit: bool = False
    clear_level_in_any_unit: bool = False


@dataclass(frozen=True, slots=True)
class AnalysedTrial:
    """The analysis of one trial, not stored yet: channel name to decay, and the mean humidity of the run [%]."""

    decays: dict[str, ChannelDecay]
    relative_humidity_pct: float | None


def is_analysed(channel: str) -> bool:
    """Whether a channel is one that cleaning lowers: particles by mass, number or surface, and VOC."""
    return channel.startswith(("pm", "count_")) or is_particle_channel(channel) or channel == "voc"


def analyse_readings(readings: LogReadings, terms: AnalysisTerms) -> AnalysedTrial:
    """Analysis of every particle channel and of VOC."""
    decays = analyse_channels(readings.elapsed_s, readings.levels, readings.units, terms)
    return AnalysedTrial(decays, _mean_humidity(readings.elapsed_s, readings.levels, decays))


def analyse_channels(
    elapsed_s: NDArray[np.float64],
    levels: dict[str, NDArray[np.float64]],
    units: dict[str, str],
    terms: AnalysisTerms,
    channels: Sequence[str] | None = None,
) -> dict[str, ChannelDecay]:
    """Decay of each analysed channel, or of those named; channels without readings are left out.

    elapsed_s : seconds since the first reading, as stamped; levels : in the channel's unit
    """
    elapsed_s = elapsed_s - terms.timing.late_s
    chosen = [name for name in levels if (is_analysed(name) if channels is None else name in channels)]
    decays = {
        name: _analyse_one(elapsed_s, levels[name], name, units[name], terms)
        for name in chosen
        if np.isfinite(levels[name]).any()
    }
    decays = with_humidity_uncertainty(elapsed_s, levels, decays)
    decays |= {name: with_curvature(decays[name], line) for name, line in terms.lines.items() if name in decays}
    between = cross_channel_notes(elapsed_s, levels, decays)
    return {name: judged(replace(decay, notes=(*decay.notes, *between[name]))) for name, decay in decays.items()}


def _analyse_one(
    elapsed_s: NDArray[np.float64], levels: NDArray[np.float64], channel: str, unit: str, terms: AnalysisTerms
) -> ChannelDecay:
    is_mass = unit == MASS_UNIT
    clear_level, note = terms.clear_level, None
    if not (is_mass or terms.clear_level_in_any_unit) and clear_level.kind != "share_of_start":
        clear_level = ClearLevel("share_of_start", SHARE_CLEARED)
        note = Note(
            "clear_level_is_a_share",
            "fine",
            f"The bench's clear level is a mass concentration. {channel_named(channel).label} is in "
            f"{unit or 'its own unit of measure'}, so the clear level here is {SHARE_CLEARED:.0%} of the level at "
            "unit on.",
            value=SHARE_CLEARED,
        )
    decay = analyse_decay(
        elapsed_s,
        levels,
        channel=channel,
        unit=unit,
        marks=terms.marks if is_mass or terms.background_in_any_unit else replace(terms.marks, background_level=None),
        clear_level=clear_level,
        saturation_level=terms.saturation_level_ug_m3 if unit == MASS_UNIT else None,
        response_time_s=terms.response_time_s,
        empty_room=terms.empty_room,
        of_logger=terms.of_logger.get(channel, GENERIC),
        timing=terms.timing,
    )
    # an empty room has no switch-on, so the sensor's lag does not matter
    notes = tuple(each for each in decay.notes if not (terms.empty_room and each.code == "unit_on_from_data"))
    return replace(decay, notes=notes if note is None else (*notes, note))


def _mean_humidity(
    elapsed_s: NDArray[np.float64], levels: dict[str, NDArray[np.float64]], decays: dict[str, ChannelDecay]
) -> float | None:
    humidity = levels.get("relative_humidity")
    if humidity is None or not decays:
        return None
    first = next(iter(decays.values()))
    of_run = humidity[(elapsed_s >= first.unit_on_h * 3600) & (elapsed_s <= first.end_h * 3600)]
    of_run = of_run[np.isfinite(of_run)]
    return float(of_run.mean()) if of_run.size else None
