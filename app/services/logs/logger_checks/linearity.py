"""What the check of a logger says of the rate of a trial."""

from dataclasses import dataclass
from datetime import date

from app.compute.collocation.rate_effect import rate_change_by_curvature
from app.compute.decay.systematic import LINEARITY
from app.compute.statistics.measured import Measured
from app.storage.models.rooms_and_loggers import Logger


@dataclass(frozen=True, slots=True)
class Decay:
    """A fitted decay: background and amplitude [unit of the channel], rate [1/h], length of the fit window [h]."""

    background: float
    amplitude: float
    rate_per_h: float
    window_h: float


def linearity_words(logger: Logger, on: date, channel: str, decay: Decay) -> str:
    """A sentence on how far the curvature in the last check of a logger, up to a day, may change a rate; "" without
    such a check. The logger is loaded with its checks.
    """
    checks = [
        check
        for check in logger.checks
        if check.channel == channel and check.checked_on <= on and check.curvature is not None
    ]
    if not checks:
        return ""
    check = checks[-1]
    change = rate_change_by_curvature(
        Measured(check.slope or 1.0, check.slope_uncertainty or 0.0),
        Measured(check.curvature or 0.0, check.curvature_uncertainty or 0.0),
        (decay.background, decay.amplitude, decay.rate_per_h),
        decay.window_h,
    )
    beside = "more than" if change > LINEARITY else "no more than"
    return (
        f"The curvature in the check of the logger on {check.checked_on.isoformat()} may change this rate by "
        f"{100 * change:.2g} % (standard uncertainty), {beside} the {100 * LINEARITY:g} % in its interval."
    )
