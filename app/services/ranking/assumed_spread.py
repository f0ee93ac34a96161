"""Says which intervals depend on an assumed spread between trials."""

from collections.abc import Iterable

from app.compute.statistics.spread_sources import ASSUMED_DEGREES_OF_FREEDOM, ASSUMED_RELATIVE_SD, ON_ASSUMPTION
from app.services.ranking.rows import RankedSetting


def assumed_spread_words(lines: Iterable[RankedSetting]) -> str:
    """A phrase for the conditions of a page; "" where no interval depends on the assumption."""
    text = spread_between_trials(lines)
    return f"spread between trials {text}" if text.startswith("assumed") else ""


def spread_between_trials(lines: Iterable[RankedSetting]) -> str:
    """Where the spread between trials comes from."""
    if not any(line.row.between_trial_source in ON_ASSUMPTION for line in lines):
        return "from repeats on this bench"
    return (
        f"assumed to be {100 * ASSUMED_RELATIVE_SD:g}\u00a0% of the rate (common practice, no "
        f"source) until the bench has {ASSUMED_DEGREES_OF_FREEDOM:g} repeats"
    )
