"""The publication's own look, as the bench keeps it, for the charts that are taken away."""

import re

from app.figures.chart import HouseStyle
from app.services.chart_facts import ChartFacts

_COLOUR = re.compile(r"#[0-9a-fA-F]{6}")


def house_style(facts: ChartFacts) -> HouseStyle:
    """House style of the bench; a colour that is none is left out rather than spoiling every chart."""
    return HouseStyle(
        publication=facts.publication,
        font=facts.font,
        ink=facts.ink if _COLOUR.fullmatch(facts.ink) else "",
        accent=facts.accent if _COLOUR.fullmatch(facts.accent) else "",
    )
