"""Decay rate against particle size, of one trial."""

from collections.abc import Sequence

from app.compute.wording.numbers import measured_text
from app.figures.chart import Axis, Chart, Series
from app.figures.charts.house_style import house_style
from app.services.bench.chart_facts import ChartFacts
from app.services.trials.detail import TrialDetail
from app.services.trials.rates_by_size import RateOfSize, rates_by_size, rates_words, size_words

_AIR = 1.5  # beside the outermost sizes, as a factor


def rates_by_size_chart(detail: TrialDetail, facts: ChartFacts) -> Chart:
    """Rates with 95 % intervals at the typical size of each channel, on a logarithmic axis."""
    rates = rates_by_size(detail.channels)
    words = rates_words(rates) if rates else "This trial has no rates of two particle sizes."
    bins = [one for one in rates if one.size.high_um is not None]
    above = [one for one in rates if one.size.high_um is None]
    sizes = [one.size.typical_um for one in rates] or [1.0]
    ends = [end for one in rates for end in one.total_decay.interval_95] or [0.0, 1.0]
    lowest = min(0.0, *ends)
    margin = 0.1 * (max(ends) - lowest) or 0.1
    both = bool(bins and above)
    return Chart(
        name="rates-by-size",
        title=f"Trial {detail.trial.id}: decay rate by particle size",
        subtitle="Total decay with 95 % intervals; bins at the geometric mean of their limits, open sizes at the limit",
        x_axis=Axis("Particle size", "µm", "log", low=min(sizes) / _AIR, high=max(sizes) * _AIR),
        y_axis=Axis("Total decay", "1/h", low=lowest and lowest - margin, high=max(ends) + margin),
        series=(
            *([_series("size bins", bins, 0, named=both)] if bins else []),
            *([_series("all particles above a size", above, 1 if bins else 0, named=both)] if above else []),
        ),
        alt_text=words,
        source_line=facts.source_line(f"Trial {detail.trial.id}"),
        x_column="particle_size_um",
        y_column="total_decay_per_h",
        house=house_style(facts),
    )


def _series(name: str, rates: Sequence[RateOfSize], colour: int, *, named: bool) -> Series:
    def hover(one: RateOfSize) -> str:
        rate = one.total_decay
        found = measured_text(rate.value, rate.uncertainty, rate.low_95, rate.high_95)
        return f"{size_words(one.size)}: {found.with_interval} per hour"

    return Series(
        name,
        "interval",
        tuple(one.size.typical_um for one in rates),
        tuple(one.total_decay.value for one in rates),
        low=tuple(one.total_decay.low_95 for one in rates),
        high=tuple(one.total_decay.high_95 for one in rates),
        hover=tuple(hover(one) for one in rates),
        colour=colour,
        in_legend=named,
    )
