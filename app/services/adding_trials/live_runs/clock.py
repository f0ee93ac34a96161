"""The logger's clock compared with the bench's clock.

A reading can only arrive late, so the highest difference seen is the best estimate, and it is a lower limit. A logger
whose readings seem to lag by less than this limit is more likely to be late than wrong.
"""

from app.compute.wording.rounding import rounded_text
from app.storage.models.live_runs import LiveRun

LATE_WITHIN_S = 90.0  # one reading a minute, and half a minute to arrive; common practice, no source
TO_MENTION_S = 2.0


def logger_correction_s(run: LiveRun) -> float:
    """Seconds to add to a time of the bench's clock to get the logger's."""
    ahead = run.logger_ahead_s or 0.0
    return 0.0 if -LATE_WITHIN_S <= ahead <= 0.0 else ahead


def clock_words(run: LiveRun) -> str:
    """A sentence on the logger's clock; "" before the first reading."""
    if run.logger_ahead_s is None:
        return ""
    correction = logger_correction_s(run)
    if abs(correction) < TO_MENTION_S:
        return "The logger's clock agrees with the bench's clock."
    where = "ahead of" if correction > 0 else "behind"
    return (
        f"The logger's clock is {span_text(abs(correction))} {where} the bench's clock; events are placed accordingly. "
        "Set the logger's clock and its time zone before the next run."
    )


def span_text(seconds: float) -> str:
    """A time span in the unit that suits it.

    >>> span_text(12.4), span_text(754.0), span_text(7260.0), span_text(260000.0)
    ('12\xa0s', '12.6\xa0min', '2.0\xa0h', '3.0\xa0days')
    """
    for limit, size, unit in ((120.0, 1.0, "s"), (7200.0, 60.0, "min"), (172_800.0, 3600.0, "h")):
        if seconds < limit:
            return f"{rounded_text(seconds / size, 0 if size == 1.0 else 1)}\u00a0{unit}"
    return f"{rounded_text(seconds / 86_400, 1)}\u00a0days"
