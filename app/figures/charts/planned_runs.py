"""Chart of what further runs give: half-width of a rate, power, or pairs in the wrong order, by number of runs."""

from app.compute.planning.answer import Answer, Step
from app.compute.planning.wording import ASSURED, answer_text, figure_text, percent
from app.compute.wording.numbers import counted
from app.figures.chart import Axis, Chart, ReferenceLine, Series
from app.figures.charts.house_style import house_style
from app.services.bench.chart_facts import ChartFacts

# by goal: title and unit of the y axis, column of the table, factor, and name of the line
_FIGURES = {
    "rate": ("Half-width of the interval", "% of the rate", "half_width_percent", 100.0, ASSURED),
    "difference": ("Power", "%", "power_percent", 100.0, "power"),
    "order": ("Pairs expected in the wrong order", "", "wrong_pairs", 1.0, "expected"),
}


_LEAST_SPAN = 5.0  # of the axis, so that its ticks are whole trials


def planned_runs_chart(answer: Answer, facts: ChartFacts) -> Chart:
    words, unit, column, factor, name = _FIGURES[answer.goal]
    x = tuple(float(step.trials) for step in answer.steps)
    series = [_line(name, x, [factor * step.assured for step in answer.steps], answer, 0)]
    if answer.goal == "rate":
        typical = [factor * step.typical for step in answer.steps if step.typical is not None]
        series.append(_line("median campaign", x, typical, answer, 1))
    wanted: tuple[ReferenceLine, ...] = ()
    if answer.goal != "order":
        mark = "±" if answer.goal == "rate" else ""
        wanted = (ReferenceLine("y", factor * answer.wanted, f"wanted: {mark}{percent(answer.wanted)} %"),)
    return Chart(
        name="planned-runs",
        title=_title(answer),
        subtitle=f"{answer.known.channel} in {answer.known.room}",
        x_axis=Axis("Further trials", low=0.0, high=max((*x, _LEAST_SPAN))),
        y_axis=Axis(words, unit, low=0.0, high=100.0 if answer.goal == "difference" else None),
        series=tuple(series),
        alt_text=planned_runs_text(answer),
        source_line=facts.source_line("Planned, not measured"),
        reference_lines=wanted,
        x_column="further_trials",
        y_column=column,
        house=house_style(facts),
    )


def _line(name: str, x: tuple[float, ...], y: list[float], answer: Answer, place: int) -> Series:
    hover = tuple(f"{name}: {_runs(step)}, {value:.3g}" for step, value in zip(answer.steps, y, strict=True))
    return Series(name, "line", x, tuple(y), hover=hover, colour=place, dash=place, end_label=name)


def _runs(step: Step) -> str:
    trials = counted(step.trials, "further trial")
    return f"{trials} and {counted(step.empty_runs, 'empty-room run')}" if step.empty_runs else trials


def _title(answer: Answer) -> str:
    if answer.status == "known":
        return "No further run is needed"
    if answer.status == "not by runs":
        return "Further runs do not reach the goal"
    return f"{counted(answer.trials, 'further trial')} and {counted(answer.empty_runs, 'empty-room run')}"


def planned_runs_text(answer: Answer) -> str:
    """The figure without further runs, with those planned, and at the end of the line."""
    if not answer.steps:
        return answer_text(answer)
    title = _FIGURES[answer.goal][0]
    mark, unit = ("±", "\u00a0%") if answer.goal == "rate" else ("", "\u00a0%" if answer.goal == "difference" else "")
    planned = [step for step in answer.steps if (step.trials, step.empty_runs) == (answer.trials, answer.empty_runs)]
    shown = dict.fromkeys([answer.steps[0], *planned, answer.steps[-1]])
    figures = [f"{mark}{figure_text(answer, step.assured)}{unit} with {_runs(step)}" for step in shown]
    of_campaigns = f" in {ASSURED}" if answer.goal == "rate" else ""
    return f"{title}{of_campaigns}: {'; '.join(figures)}."
