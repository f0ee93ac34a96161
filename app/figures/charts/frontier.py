"""Chart of the Pareto front of price, sound and clean air."""

from app.compute.comparison.room_advice import Candidate
from app.compute.wording.numbers import counted, listed, money
from app.figures.chart import Axis, Chart, ReferenceLine, Series
from app.figures.charts.house_style import house_style
from app.services.bench.chart_facts import ChartFacts
from app.services.ranking.room_advice import AdviceForRoom
from app.services.snapshot.evenly_spread import spread_over

MOST_SINGLE = 60  # settings with a series, and so a name in the downloaded table, of their own
MOST_LABELLED = 12  # of them with their name in the chart, evenly over the front: more would hide the points


def frontier_chart(found: AdviceForRoom, facts: ChartFacts, *, flow_factor: float, flow_symbol: str) -> Chart:
    """Clean air over sound, with the price beside the name; settings on the front are named and highlighted."""
    best_ids = {c.setting_id for c in found.frontier}
    complete = [c for c in found.candidates if c.measurable and c.rate is not None and c.sound_dba is not None]
    levels = [c.sound_dba for c in complete if c.sound_dba is not None]
    beaten = [c for c in complete if c.setting_id not in best_ids]
    series = []
    if beaten:
        series.append(_beaten(beaten, flow_factor))
    single = found.frontier[:MOST_SINGLE]
    labelled = {c.setting_id for c in spread_over(single, MOST_LABELLED)}
    series += [_best(c, found, flow_factor, is_labelled=c.setting_id in labelled) for c in single]
    if len(found.frontier) > MOST_SINGLE:
        rest = list(found.frontier[MOST_SINGLE:])
        series.append(_further(rest, found, flow_factor))
    lines = [
        ReferenceLine("y", found.need.rate_m3_per_h * flow_factor, f"needed for {found.choices.room_area_m2:g} m²")
    ]
    if found.choices.max_sound_dba is not None:
        lines.append(ReferenceLine("x", found.choices.max_sound_dba, "sound limit"))
    return Chart(
        name="frontier",
        title=_title(found),
        subtitle=f"Each point is one setting of one unit; levels at {found.distance_m:g} m, prices in {found.currency}"
        + (f"; {MOST_LABELLED} of {len(found.frontier)} named" if len(found.frontier) > MOST_LABELLED else ""),
        x_axis=Axis("Sound", "dB(A)", low=min(levels, default=20.0) - 3, high=max(levels, default=60.0) + 3),
        y_axis=Axis("Clean air delivery rate", flow_symbol, low=0.0),
        series=tuple(series),
        alt_text=frontier_text(found),
        source_line=facts.source_line(f"{counted(len(complete), 'setting')} with clean air and sound"),
        reference_lines=tuple(lines),
        x_column="sound_dba",
        y_column="clean_air_delivery_rate_cfm" if flow_symbol == "cfm" else "clean_air_delivery_rate_m3_per_h",
        house=house_style(facts),
    )


def frontier_text(found: AdviceForRoom) -> str:
    """Number of settings on the front, and its ends."""
    best = found.frontier
    if not best:
        return "No setting has a price, a sound level and a measurable clean air rate yet."
    ends = [best[0]] if len(best) == 1 else [best[0], best[-1]]
    words = [f"{c.unit} at {c.setting} ({money(c.price or 0.0, found.currency)})" for c in ends]
    return (
        f"{counted(len(best), 'setting')} that no other beats on price, sound and clean air at once, from "
        f"{listed(words, 'to')}."
    )


def _title(found: AdviceForRoom) -> str:
    best, settings = len(found.frontier), counted(len(found.frontier), "setting")
    if not best:
        return "No setting has a price, a sound level and a measurable rate yet"
    return f"{settings} {'is' if best == 1 else 'are'} not beaten on price, sound and clean air at once"


def _best(candidate: Candidate, found: AdviceForRoom, factor: float, *, is_labelled: bool) -> Series:
    name = f"{candidate.unit}, {candidate.setting}"
    return Series(
        name,
        "points",
        (candidate.sound_dba or 0.0,),
        (_rate(candidate) * factor,),
        hover=(_hover(candidate, found, factor),),
        colour=0,
        end_label=f"{name}, {money(candidate.price or 0.0, found.currency, 0)}" if is_labelled else "",
    )


def _beaten(candidates: list[Candidate], factor: float) -> Series:
    """Dominated settings. There may be thousands, so they have no hover text."""
    return Series(
        "beaten by another setting, or without a price",
        "points",
        tuple([c.sound_dba for c in candidates if c.sound_dba is not None]),
        tuple([c.rate.value * factor for c in candidates if c.rate is not None]),
        colour=None,
        faint=True,
        in_legend=True,
    )


def _further(candidates: list[Candidate], found: AdviceForRoom, factor: float) -> Series:
    return Series(
        "more unbeaten settings",
        "points",
        tuple(c.sound_dba or 0.0 for c in candidates),
        tuple(_rate(c) * factor for c in candidates),
        hover=tuple(_hover(c, found, factor) for c in candidates),
        colour=0,
        in_legend=True,
    )


def _hover(c: Candidate, found: AdviceForRoom, factor: float) -> str:
    price = "no price" if c.price is None else money(c.price, found.currency)
    bound = f"{'an estimated ' if c.sound_is_estimate else ''}{'at most ' if c.sound_is_upper_bound else ''}"
    return f"{c.unit}, {c.setting}: {_rate(c) * factor:.0f}, {bound}{c.sound_dba:.0f} dB(A), {price}"


def _rate(candidate: Candidate) -> float:
    return candidate.rate.value if candidate.rate is not None else 0.0
