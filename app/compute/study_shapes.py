"""Results of the simulation studies. Pairs are the lowest and the highest value."""

from collections.abc import Mapping
from dataclasses import dataclass

Ends = tuple[float, float]


@dataclass(frozen=True, slots=True)
class DecayCoverage:
    """Coverage of the 95 % interval of a decay rate; silent trials have no note, and groups of fewer than
    `smallest_group` are left out.

    lowest : the pair of conditions with the lowest share, in words
    conditions : name of each simulated condition to its range
    long_memory_percent : of silent trials whose noise has a memory of `long_memory_min`, beyond that range
    """

    trials: int
    silent_trials: int
    silent_percent: float
    noted_percent: float
    one_condition_percent: Ends
    smallest_group: int
    lowest_percent: float
    lowest: str
    conditions: Mapping[str, Ends]
    long_memory_min: float
    long_memory_percent: float


@dataclass(frozen=True, slots=True)
class TwoRatesPower:
    """How often a second rate is detected, by number of readings, and how often one rate is mistaken for two."""

    run_h: float
    background: float
    excess: float
    noise_percent: float
    highest_autocorrelation: float
    mistaken_percent: Ends
    detected_percent: Mapping[int, Ends]


@dataclass(frozen=True, slots=True)
class SmallSamples:
    """How often the intervals of few repeats hold the truth, by the true spread over the assumed one.

    rates_percent : rates and ratios of benches with one to three trials a unit
    times_percent : median time to clear of one to eight trials
    """

    rates_percent: Mapping[float, Ends]
    times_percent: Mapping[float, Ends]


@dataclass(frozen=True, slots=True)
class RoomDrift:
    """How often the natural decay of a drifting room is held or noted, and how often a flat mean holds it.

    steady_percent : held, in a room without a drift
    """

    days: float
    held_or_noted_percent: Ends
    flat_percent: Ends
    steady_percent: Ends


@dataclass(frozen=True, slots=True)
class JointRanks:
    """How often the ranking of a whole bench is right, and all rank intervals hold at once."""

    units: tuple[int, ...]
    order_percent: Ends
    ranks_percent: Ends


@dataclass(frozen=True, slots=True)
class EarlyStop:
    """Coverage of runs that were stopped at a half-width, and after a fixed time.

    ahead : half-width that came over the one expected `ahead_min` before, in eight of ten runs
    """

    trials: int
    half_width_percent: float
    stopped: int
    stopped_percent: float
    median_min: int
    fixed_min: float
    fixed_percent: float
    ahead_min: int
    ahead: Ends


@dataclass(frozen=True, slots=True)
class IntervalWidths:
    """Width of an interval over what the scatter of the rates needs, and the share of trials that it holds.

    above, outside : cells too wide, and outside the wanted coverage;  surely : of those, beyond what chance explains
    """

    median_ratio: float
    highest_ratio: float
    above: int
    surely_above: int
    held_percent: float
    percent: Ends
    outside: int
    surely_outside: int


@dataclass(frozen=True, slots=True)
class RateEfficiency:
    """Of the interval of a decay rate and of the clean air delivery rate of repeats, over the cells of a grid.

    taught : trials that the logger is known from
    required : cells whose sampling is not noted, which the figures are of
    pooled_percent : held of the trials of one rate, of one sampling or of one noise
    widths : of a known logger, of least squares that know the noise, and so on, and of the clean air rate by repeats
    """

    trials_of_cell: int
    taught: int
    cells: int
    required: int
    pooled_percent: Ends
    widths: Mapping[str, IntervalWidths]


@dataclass(frozen=True, slots=True)
class Disturbances:
    """How often the interval holds the rate, or a note says that something is wrong, by disturbance.

    met_percent : of the rows that one log can reveal; missed, hidden : names of the others, with their share
    """

    logs: int
    rows: int
    met_percent: Ends
    missed: tuple[str, ...]
    hidden: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ControlChartStudy:
    """How the control chart of a room finds changes, with the usual number of reference runs.

    found_within : runs within which 90 % of changes are found by the moving average, by size in standard deviations
    false_percent : rooms without a change in which the average or a single run passes a limit within `runs` runs
    false_shift_percent : the same by the average alone
    """

    rooms: int
    reference_runs: int
    runs: int
    found_within: Mapping[float, int]
    false_percent: float
    false_shift_percent: float


@dataclass(frozen=True, slots=True)
class UnitOnFound:
    """Unit on read off the curve of a log without a mark.

    logs : simulated;  held_percent : of the intervals of time to clear
    late_min : median error of unit on [min], lowest and highest over the times in which a room mixes [min]
    """

    logs: int
    held_percent: float
    late_min: Ends
    mixing_min: Ends
