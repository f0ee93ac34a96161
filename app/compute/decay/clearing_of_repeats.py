"""Time to clear over repeated trials, some of which may be censored (ended before the clear level was reached)."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from app.compute.decay.result import TimeToClear
from app.compute.statistics.survival import survival_curve


@dataclass(frozen=True, slots=True)
class ClearingOfRepeats:
    """Time to clear of one setting over its trials. [min]

    median_min : median of the Kaplan-Meier curve, None where half of the trials never cleared
    low_95_min, high_95_min : its interval; None: open on that side, as with few trials
    not_before_min : where there is no median, a lower bound of it: the median of the observed times and of the
            lengths of the runs that did not clear
    """

    trials: int
    censored_trials: int
    median_min: float | None
    low_95_min: float | None
    high_95_min: float | None
    not_before_min: float | None


def combine_times_to_clear(times: Sequence[TimeToClear]) -> ClearingOfRepeats:
    """Median time to clear over trials; runs that did not clear count as right-censored.

    times : of the trials of one setting and channel, at one clear level, at least one
    Raises ValueError if there is none, or if a time has neither a value nor a lower bound.

    >>> cleared = TimeToClear(True, 31.0, None, None, 10.0)
    >>> not_cleared = TimeToClear(False, None, 172.0, None, 10.0)
    >>> combine_times_to_clear([cleared, cleared, not_cleared]).median_min
    31.0
    >>> combine_times_to_clear([cleared, not_cleared, not_cleared]).not_before_min
    172.0
    """
    if not times:
        raise ValueError("A combined time to clear needs at least one trial and found none.")
    bounds: list[float] = []
    for time in times:
        bound = time.value_min if time.reached else time.not_before_min
        if bound is None:
            raise ValueError("A time to clear has neither a value nor the end of its run; one of them is needed.")
        bounds.append(bound)
    curve = survival_curve(bounds, [time.reached for time in times])
    return ClearingOfRepeats(
        trials=len(times),
        censored_trials=sum(not time.reached for time in times),
        median_min=curve.median,
        low_95_min=curve.median_low_95 if curve.median is not None and len(times) > 1 else None,
        high_95_min=curve.median_high_95 if curve.median is not None and len(times) > 1 else None,
        not_before_min=float(np.median(bounds)) if curve.median is None else None,
    )
