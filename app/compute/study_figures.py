"""Results of the simulation studies, as sentences for the description of the method.

The numbers come from `study_tables.py`, which the studies write beside their tables; none is typed here.
"""

from app.compute.control_charts.limits import EWMA_SIGMAS, EWMA_WEIGHT, SHEWHART_SIGMAS
from app.compute.study_tables import (
    CONTROL_CHART,
    COVERAGE,
    DISTURBANCES,
    EARLY_STOP_STUDY,
    EFFICIENCY,
    JOINT_RANKS,
    POWER,
    ROOM_DRIFT,
    UNIT_ON,
)
from app.compute.study_tables import SMALL_SAMPLES as FEW
from app.compute.wording.numbers import counted, listed


def _range(ends: tuple[float, float]) -> str:
    return f"{ends[0]:g} to {ends[1]:g}"


def _coverage_words() -> tuple[str, ...]:
    ends, noise = COVERAGE.conditions, COVERAGE.conditions["relative_noise"]
    return (
        f"In {COVERAGE.trials:,} simulated trials of known rate in which a rate was found, the 95 % interval contains "
        f"the true value in {COVERAGE.silent_percent} % of the {COVERAGE.silent_trials:,} trials without a note. "
        f"In groups of {COVERAGE.smallest_group} trials or more it is {COVERAGE.one_condition_percent[0]} to "
        f"{COVERAGE.one_condition_percent[1]} % where they share one condition, and at least {COVERAGE.lowest_percent} "
        f"% where they share two (lowest: {COVERAGE.lowest}). With a note it is {COVERAGE.noted_percent} %.",
        "These trials assume a logger of which nothing is known, a well-mixed room whose background drifts, and a "
        "sensor that warms up and is not quite linear, as the budget assumes, a constant rate "
        f"({_range(ends['rate_per_h'])} per hour), a reading every "
        f"{_range(ends['interval_s'])} s, noise of {_range((100 * noise[0], 100 * noise[1]))} % "
        f"of the level with a memory of {_range(ends['memory_s'])} s, display steps of "
        f"{_range(ends['step'])} µg/m³, runs of {_range(ends['run_min'])} min, a background of "
        f"{_range(ends['background'])} µg/m³ and a start level of {_range(ends['start_level'])} µg/m³. With a memory "
        f"of {COVERAGE.long_memory_min:g} min, nearly as long as a run, the interval contains the true value in "
        f"{COVERAGE.long_memory_percent} % of the trials without a note. Smoke "
        "that goes on after the start, slow mixing and losses at high levels are not simulated, so these percentages "
        "do not cover such trials.",
    )


def _two_rates_words() -> str:
    powers = ", ".join(
        f"{low} to {high} % with {readings} readings" for readings, (low, high) in POWER.detected_percent.items()
    )
    return (
        f"In simulated runs of {POWER.run_h:g} h with a background of {POWER.background:g} µg/m³, "
        f"{POWER.excess:g} µg/m³ of smoke and {POWER.noise_percent:g} % noise, a single exponential is mistaken for "
        f"more than one in {POWER.mistaken_percent[0]} to {POWER.mistaken_percent[1]} %, depending on the number of "
        f"readings and their autocorrelation (0 to {POWER.highest_autocorrelation}). Two rates that differ by a factor "
        f"of three or more are detected in {powers}."
    )


def _rank_words() -> str:
    order, ranks = JOINT_RANKS.order_percent, JOINT_RANKS.ranks_percent
    return (
        f"In simulated benches of {listed([str(units) for units in JOINT_RANKS.units])} units, no pair was in the "
        f"wrong order in {order[0]} to {order[1]} % of benches, and all rank intervals held at once in {ranks[0]} to "
        f"{ranks[1]} %. The lowest values belong to units that are nearly equal."
    )


def _early_stop_words() -> str:
    study = EARLY_STOP_STUDY
    low, high = study.ahead
    return (
        f"A live run may be stopped once the half-width of the 95 % interval is at most {study.half_width_percent:g} % "
        "of the rate. The rule looks at the width alone, never at the value, so frequent looks favour no result. "
        f"In {study.trials:,} simulated runs, with background and sensor drift as the budget assumes, looked at every "
        f"two minutes it stopped {study.stopped:,}, half of them "
        f"within {study.median_min} min, and {study.stopped_percent} % of their intervals contain the true value; "
        f"after a fixed {study.fixed_min:g} min it is {study.fixed_percent} % of all runs. The half-width that the "
        f"live page expects {study.ahead_min} min ahead came out at {low:g} to {high:g} times that value in eight of "
        "ten runs."
    )


def _small_samples_words() -> tuple[str, ...]:
    rates, times = FEW.rates_percent, FEW.times_percent
    return (
        "In simulated benches with one to three trials of each unit, whose true spread is the assumed one, the 95 % "
        f"intervals of rates and of their ratios hold the truth in {rates[1.0][0]} to {rates[1.0][1]} %, and those of "
        f"the median time to clear of one to eight trials in {times[1.0][0]} to {times[1.0][1]} %. With half that "
        f"spread it is {rates[0.5][0]} to {rates[0.5][1]} % and {times[0.5][0]} to {times[0.5][1]} %, with twice that "
        f"spread {rates[2.0][0]} to {rates[2.0][1]} % and {times[2.0][0]} to {times[2.0][1]} %: the lowest values "
        "belong to benches without any repeat, which cannot show that their trials differ more.",
        f"In simulated rooms whose natural decay changes by 20 to 100 % in {ROOM_DRIFT.days:g} days, it is held or "
        f"noted in {ROOM_DRIFT.held_or_noted_percent[0]} to {ROOM_DRIFT.held_or_noted_percent[1]} % of trials, "
        f"wherever the empty-room runs are (a flat mean over all runs holds it in {ROOM_DRIFT.flat_percent[0]} to "
        f"{ROOM_DRIFT.flat_percent[1]} %). In a steady room it is held in {ROOM_DRIFT.steady_percent[0]} to "
        f"{ROOM_DRIFT.steady_percent[1]} %.",
    )


def _efficiency_words() -> str:
    of, widths = EFFICIENCY, EFFICIENCY.widths
    known, oracle, on_before, still, new = (widths[kind] for kind in ("known", "oracle", "on before", "still", "new"))
    repeats = {name.removeprefix("clean air of "): each for name, each in widths.items() if "clean air" in name}
    return (
        f"In {of.cells} combinations of rate, sampling and noise with a memory in seconds, {of.required} of them "
        f"without a note on sampling, of {of.trials_of_cell} simulated trials each, in which background and sensor "
        f"drift as the budget assumes and the logger is known from {of.taught} other trials, the interval contains the "
        f"true rate in {known.held_percent} % of trials, and in {_range(of.pooled_percent)} % of those with one rate, "
        f"one sampling or one kind of noise. It is {known.median_ratio} times as wide as the scatter of the rates "
        f"needs in the median and at most {known.highest_ratio} times. It is more than 1.3 times as wide in "
        f"{known.above} combinations, beyond chance in {known.surely_above}, and its coverage is outside 93 to 97 % "
        f"beyond chance in {known.surely_outside}; for least squares that know the noise exactly these are "
        f"{oracle.above}, {oracle.surely_above} and {oracle.surely_outside}. With a sensor that is on for half an "
        f"hour before its log, and entered so, it is {on_before.median_ratio} times as wide and holds "
        f"{on_before.held_percent} %; if room and sensor do not drift at all, {still.median_ratio} times and "
        f"{still.held_percent} %. With a logger of which nothing is known it is {new.median_ratio} times as wide and "
        f"holds {new.held_percent} %. The clean air delivery rate of {listed(list(repeats))} repeats, with a spread "
        f"between trials as large as assumed, holds {listed([f'{each.held_percent}' for each in repeats.values()])} "
        f"%, at {listed([f'{each.median_ratio}' for each in repeats.values()])} times the width needed."
    )


def _unit_on_words() -> str:
    earliest, latest = UNIT_ON.late_min
    return (
        f"Without a mark, the interval of time to clear holds the truth in {UNIT_ON.held_percent:g} % of "
        f"{UNIT_ON.logs} simulated logs. The moment found is {earliest:g} to {latest:g} min late in the median, "
        f"depending on how long the room takes to mix ({_range(UNIT_ON.mixing_min)} min), which is why the place of a "
        "time stamp within its averaging time is not read off the curves."
    )


def _disturbance_words() -> str:
    of = DISTURBANCES
    missed = f" It fails for {listed(list(of.missed))}." if of.missed else ""
    return (
        f"In {of.rows} simulated rooms with drifting background, late smoke, slow mixing or a sensor that warms up, "
        f"{of.logs} logs each, the interval contains the true rate or a note warns in {_range(of.met_percent)} %, "
        f"where one log clearly shows the disturbance.{missed} It hardly shows an error of the sensor in proportion to "
        "the level, nor smoke or mixing that fades about as fast as the decay itself. The sum of two such exponentials "
        "is so close to one that the difference passes for noise, whose size and memory follow from the same log: "
        f"{listed(list(of.hidden))}. A second logger, or more stirring and waiting before the unit is switched on, "
        "would show or avoid it."
    )


SMALL_SAMPLES = _small_samples_words()
DECAY_COVERAGE = _coverage_words()
EARLY_STOP = _early_stop_words()
EFFICIENCY_WORDS = _efficiency_words()
DISTURBANCE_WORDS = _disturbance_words()
UNIT_ON_WORDS = _unit_on_words()
TWO_RATES = _two_rates_words()
RANK_COVERAGE = _rank_words()


def _control_chart_words() -> str:
    found = listed(
        [
            f"one of {size:g} standard deviations within {counted(runs, 'run')}"
            for size, runs in sorted(CONTROL_CHART.found_within.items(), reverse=True)
        ]
    )
    return (
        f"The first {CONTROL_CHART.reference_runs} runs, or those of a stated period, give the centre and the spread "
        "between runs from moving ranges; each run counts with its own uncertainty, and later runs never move the "
        f"limits. A single run is compared with ± {SHEWHART_SIGMAS:g} standard deviations, the exponentially weighted "
        f"moving average (weight {EWMA_WEIGHT:g}) with ± {EWMA_SIGMAS:g} of its own. Both limits are wider by what a "
        "short reference leaves uncertain. "
        f"In {CONTROL_CHART.rooms:,} simulated rooms for each size of change, 90 % of lasting changes are found by the "
        f"average: {found}. Smaller ones may go unseen. In a room without a change, the average reports a shift within "
        f"{CONTROL_CHART.runs} runs in {CONTROL_CHART.false_shift_percent:g} % of rooms, and it or a single run passes "
        f"a limit in {CONTROL_CHART.false_percent:g} %."
    )


CONTROL_CHART_WORDS = _control_chart_words()
