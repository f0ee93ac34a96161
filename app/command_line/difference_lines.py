"""Lines for results that differ when trials are analysed again."""

from collections.abc import Iterator, Sequence

from app.services.history.change_labels import field_label
from app.services.results.recompute import Difference
from app.services.results.rows import SAME_WITHIN


def difference_lines(differences: Sequence[Difference], most: int) -> Iterator[str]:
    """Trial, result, number before and after; the largest first, and how many more there are."""
    for one in differences[:most]:
        by = "" if one.share is None else f" ({one.share:.2%} of the previous value)"
        what = field_label(f"{one.channel} {one.field}").strip()
        yield f"trial {one.trial_id}, {what}: {_shown(one.before)} to {_shown(one.after)}{by}"
    if len(differences) > most:
        yield f"and {len(differences) - most} smaller changes"


def slightly(number: int) -> str:
    """Words for results whose change is too small to list.

    >>> slightly(0), slightly(3)
    ('', '; 3 more by 0.01% or less, which another processor alone may cause')
    """
    if not number:
        return ""
    return f"; {number} more by {SAME_WITHIN:.2%} or less, which another processor alone may cause"


def _shown(value: object) -> str:
    """Six digits of a number, enough to see a change."""
    if value is None:
        return "none"
    return f"{value:.6g}" if isinstance(value, float) else str(value)
