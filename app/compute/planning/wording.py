"""The sentences of an answer: each is made from the numbers it states."""

import math

from app.compute.planning.answer import Answer, RunsOfSetting
from app.compute.planning.precision import FEWEST_EMPTY_RUNS, MOST_TRIALS
from app.compute.planning.trial_variance import ASSURANCE
from app.compute.wording.numbers import counted, listed
from app.compute.wording.rounding import decimals_from_size, rounded_text

_SURE = 0.99
LARGE_NATURAL_SHARE = 0.15  # tests/studies/few_trials/plan_precision.py: shares of 6 and 20 %
ASSURED = f"{round(10 * ASSURANCE)} of 10 campaigns"


def percent(share: float, *, up: bool = True) -> str:
    """A share in percent with two digits, rounded up so that no half-width is promised too small; or down.

    >>> percent(0.0512), percent(0.128), percent(0.907, up=False)
    ('5.2', '13', '90')
    """
    value = 100 * share
    step = 1.0 if value >= 10 else 0.1 if value >= 1 else 0.01
    units = math.ceil(value / step - 1e-9) if up else math.floor(value / step + 1e-9)
    return f"{units * step:.{0 if step == 1 else 1 if step == 0.1 else 2}f}".removesuffix(".0")


def power_text(power: float) -> str:
    """A power in percent, rounded down, and never 100.

    >>> power_text(0.907), power_text(1.0)
    ('90', 'over 99')
    """
    return "over 99" if power > _SURE else percent(power, up=False)


def answer_text(answer: Answer) -> str:
    """The answer in one or two sentences."""
    return _TEXTS[answer.goal](answer)


def _rate_text(answer: Answer) -> str:
    one = answer.runs[0]
    if answer.status == "known":
        return (
            f"No further run is needed: the rate of {one.name} is known to ±{percent(answer.now)} % already, with "
            f"{counted(one.so_far, 'usable trial')}."
        )
    if answer.status == "first runs":
        return _first_runs_text(answer)
    if answer.status == "not by runs":
        floor = math.hypot(answer.known.volume_share, answer.known.shared_share)
        most = f"{MOST_TRIALS} more trials and {answer.known.most_empty_runs} empty-room runs"
        who = "No number of runs brings" if floor >= answer.wanted else f"Not even {most} bring"
        return (
            f"{who} the rate of {one.name} to ±{percent(answer.wanted)} %. "
            f"{_sentence(_runs_text(answer))} give ±{percent(answer.then)} % in {ASSURED}; more runs gain little."
        )
    return (
        f"For the rate of {one.name} within ±{percent(answer.wanted)} %, do {_runs_text(answer)}. "
        f"In {ASSURED} the interval is then ±{percent(answer.then)} % or narrower; today it is "
        f"±{percent(answer.now)} %."
    )


def _difference_text(answer: Answer) -> str:
    if answer.status == "first runs":
        return _first_runs_text(answer)
    first, second = answer.runs
    measured = " as measured" if answer.known.difference_is_measured else ""
    gap = f"a difference of {percent(answer.known.difference_share)} %{measured}"
    if answer.status == "known":
        return (
            f"No further run is needed: the trials of {first.name} and {second.name} so far detect {gap} with a power "
            f"of {power_text(answer.now)} %."
        )
    if answer.status == "not by runs":
        least = ""
        if answer.known.least_share is not None:
            least = f", which detect a difference of {percent(answer.known.least_share)} %"
        return (
            f"{first.name} and {second.name} cannot be told apart with {percent(answer.wanted)} % power if they "
            f"differ by {percent(answer.known.difference_share)} %{measured}: not even with {2 * MOST_TRIALS} further "
            f"trials{least}."
        )
    then, now = power_text(answer.then), power_text(answer.now)
    return (
        f"To tell {first.name} from {second.name} with {percent(answer.wanted)} % power, do {_runs_text(answer)}. "
        f"The power is then {then} % for {gap}; today it is {now} %."
    )


def _order_text(answer: Answer) -> str:
    if answer.status == "first runs":
        return _first_runs_text(answer)
    if answer.status == "known":
        pairs = "fewer than 0.1 pairs" if answer.now < 0.1 else _pairs_text(answer.now)
        return f"The order is settled and needs no further run: {pairs} of neighbours are expected the wrong way round."
    best = answer.next_runs[0]
    return (
        f"The next run that improves the order of the ranking most is {_run_text(best.setting_id, best.name)}. "
        f"{_sentence(_runs_text(answer))} reduce the pairs expected in the wrong order from "
        f"{_number(answer.now)} to {_number(answer.then)}."
    )


_TEXTS = {"rate": _rate_text, "difference": _difference_text, "order": _order_text}


def _first_runs_text(answer: Answer) -> str:
    wanting = [f"{one.name} has no usable trial" for one in answer.runs if one.more]
    if answer.empty_runs:
        wanting.append("the room has no usable empty-room run")
    reason = listed(wanting) if wanting else "fewer than two settings have a measured rate"
    if not answer.total_runs:
        return f"Too little is known to plan: {reason} in {answer.known.room}. Add trials of two units first."
    return (
        f"Too little is known to plan: {reason} in {answer.known.room}. Do {_runs_text(answer)} first; the plan then "
        "says how many more."
    )


def _runs_text(answer: Answer) -> str:
    """All runs of the answer: "6 more trials of about 40 min and 3 empty-room runs of about 90 min"."""
    parts = []
    planned = [one for one in answer.runs if one.more]
    if len(planned) > 2:
        parts.append(f"{counted(answer.trials, 'more trial')} of {counted(len(planned), 'setting')}")
    else:
        parts += [_trials_text(one) for one in planned]
    if answer.empty_runs:
        parts.append(f"{counted(answer.empty_runs, 'empty-room run')} of about {answer.empty_minutes} min")
    return listed(parts)


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def _trials_text(one: RunsOfSetting) -> str:
    return f"{counted(one.more, 'more trial')} of {one.name} of about {one.minutes} min"


def _run_text(setting_id: int | None, name: str) -> str:
    return "an empty-room run" if setting_id is None else f"a trial of {name}"


def _number(value: float) -> str:
    return rounded_text(value, decimals_from_size(value))


def _pairs_text(value: float) -> str:
    return f"{_number(value)} pairs"


def assumption_texts(answer: Answer) -> tuple[str, ...]:
    """The assumptions behind the answer."""
    known = answer.known
    freedom = "" if math.isinf(known.degrees_of_freedom) else f", {known.degrees_of_freedom:.0f} degrees of freedom"
    found = [f"Spread between trials: {percent(known.between_trials)} % of the rate ({known.source}{freedom})."]
    if known.mostly_assumed:
        found.append(
            "This spread is mostly assumed, because the bench has few repeats: the first repeats may change the number "
            "of runs considerably."
        )
    if answer.goal == "rate" and answer.steps:
        found.append(
            f"The numbers of runs are for {ASSURED}: the scatter of the trials to come varies, and so does the width "
            "of the interval. The median campaign gives the narrower interval of the table."
        )
        if known.natural_share > LARGE_NATURAL_SHARE:
            found.append(
                f"Natural decay is {percent(known.natural_share)} % of the total decay here: of simulated campaigns "
                "like this somewhat fewer reach the goal, about 7 of 8."
            )
    if answer.goal == "difference" and answer.steps:
        found.append(
            "The power counts trials of both units in the same weeks of one room, where room volume and natural decay "
            "cancel. It is averaged over what is known of the spread."
        )
        if known.difference_is_measured:
            found.append("The true difference is assumed to be the measured one, which is uncertain itself.")
    if answer.goal == "order" and answer.steps:
        found.append(
            "The pairs expected in the wrong order are a sum over pairs of neighbours in the ranking, each with the "
            "probability that the lower one is truly the stronger: 0.5 is one pair that cannot be told apart."
        )
        found.append("Rates are assumed to stay where they are; only the certainty of their order changes.")
    found += _natural_texts(answer)
    if any(one.more for one in answer.runs):
        found.append(
            "A run is as long as its fit needs to be known to half the spread between runs; a time to clear needs the "
            "run to go on until the clear level. Repeats of a setting are on different days."
        )
    for one in answer.runs:
        if one.more and not one.is_long_enough:
            found.append(f"{one.name}: no length of run brings the fit to half the spread between trials.")
    return tuple(found)


def _natural_texts(answer: Answer) -> list[str]:
    known, found = answer.known, []
    if known.natural_per_h is not None and known.natural_uncertainty is not None:
        on_day, later = known.natural_uncertainty
        found.append(
            f"Natural decay {known.natural_per_h:.2f} per hour, known to ±{on_day:.3f} (standard uncertainty) on the "
            f"day of the last empty-room run and to ±{later:.3f} thirty days later."
        )
    if known.natural_is_stale:
        found.append("The last empty-room run is older than this bench allows; the room may have changed.")
    if answer.empty_runs >= FEWEST_EMPTY_RUNS and answer.trials:
        found.append("Empty-room runs come first and last, and evenly between, so that they bracket the trials.")
    return found


def help_texts(answer: Answer) -> tuple[str, ...]:
    """What else would help, where runs alone do not reach the goal or something is doubtful."""
    found = []
    known = answer.known
    floor = math.hypot(known.volume_share, known.shared_share)
    if answer.status == "not by runs" and answer.goal == "rate":
        if known.volume_share >= answer.wanted / 3:
            found.append(
                f"The room volume alone is uncertain by ±{percent(known.volume_share)} %. Measure the room again, "
                "or compare units: in a comparison the volume cancels."
            )
        if known.shared_share >= answer.wanted / 3:
            found.append(
                f"What all trials share leaves ±{percent(known.shared_share)} %: humidity, mixing, and the warm-up and "
                "linearity of the logger. Keep the humidity steady, switch the logger on an hour before, and use a "
                "second logger."
            )
        if floor < answer.wanted:
            found.append("More empty-room runs close to the trials, and trials on more days, come nearest to the goal.")
    if answer.status == "not by runs" and answer.goal == "difference":
        found.append("Test both on the same days, or accept that a reader would not notice so small a difference.")
    if known.unlike:
        found.append(
            f"The trials of {listed(list(known.unlike))} differ by more than repeats of this bench do. Find out why "
            "before adding more: filter, placement, door, smoke."
        )
    return tuple(found)


def figure_text(answer: Answer, figure: float) -> str:
    """One figure of the table, in the unit of the goal."""
    if answer.goal == "order":
        return _number(figure)
    return percent(figure) if answer.goal == "rate" else power_text(figure)
