"""Branding of downloaded charts, from the bench's choices."""

from app.compute.wording.contrast import is_colour
from app.figures.chart import HouseStyle
from app.services.bench.chart_facts import ChartFacts


def house_style(facts: ChartFacts) -> HouseStyle:
    """The bench's branding; an invalid colour is ignored."""
    return HouseStyle(
        publication=facts.publication,
        font=facts.font,
        ink=facts.ink if is_colour(facts.ink) else "",
        accent=facts.accent if is_colour(facts.accent) else "",
    )
