"""The publication's own look, as the bench keeps it, for the charts that are taken away."""

from app.compute.wording.contrast import is_colour
from app.figures.chart import HouseStyle
from app.services.bench.chart_facts import ChartFacts

# families that come with the drawing library: with these a picture has the same bytes on every machine
BUNDLED_FONTS = ("DejaVu Sans", "DejaVu Serif", "DejaVu Sans Mono", "STIXGeneral")


def house_style(facts: ChartFacts) -> HouseStyle:
    """House style of the bench; a colour that is none is left out rather than spoiling every chart."""
    return HouseStyle(
        publication=facts.publication,
        font=facts.font,
        ink=facts.ink if is_colour(facts.ink) else "",
        accent=facts.accent if is_colour(facts.accent) else "",
    )
