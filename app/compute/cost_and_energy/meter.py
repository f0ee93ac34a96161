"""What a power meter adds to the uncertainty: its display step and, where nobody stated it, an assumed class."""

import math
from collections.abc import Sequence

# Common practice, no source: limits of error of a plug-in meter, of the reading.
ASSUMED_METER_LIMIT = 0.02
ASSUMED_METER_SHARE = ASSUMED_METER_LIMIT / math.sqrt(3.0)
# Display steps that a stored number can tell. A whole number of ten watts or more may come from a display without
# decimals; a smaller one is taken for one with tenths, as plug-in meters have them (common practice, no source).
STEPS_W = (1.0, 0.1, 0.01)
WHOLE_FROM_W = 10.0


def display_step_w(readings_w: Sequence[float]) -> float:
    """The display step of a meter, from the decimals of its readings.

    >>> display_step_w([11.5]), display_step_w([40.0]), display_step_w([40.0, 41.25]), display_step_w([0.0])
    (0.1, 1.0, 0.01, 0.1)
    """
    return min((_step_of(reading) for reading in readings_w), default=STEPS_W[1])


def _step_of(reading_w: float) -> float:
    if reading_w == round(reading_w):
        return STEPS_W[0] if reading_w >= WHOLE_FROM_W else STEPS_W[1]
    return STEPS_W[1] if abs(10 * reading_w - round(10 * reading_w)) < 1e-6 else STEPS_W[2]


def of_meter_w(mean_w: float, stated_uncertainty_w: float, step_w: float) -> float:
    r"""Standard uncertainty of a reading through its meter. [1]_ [W]

    .. math:: u^2 = u_m^2 + d^2/12

    stated_uncertainty_w : u_m; zero: not stated, so the assumed class is used, 2 % of the mean over the root of three
    step_w : d, the display step, a rectangle

    References
    .. [1] JCGM 100:2008, 4.3.7 and F.2.2.1.
    >>> round(of_meter_w(11.5, 0.0, 0.1), 3), round(of_meter_w(11.5, 0.2, 0.1), 3)
    (0.136, 0.202)
    """
    of_class = stated_uncertainty_w if stated_uncertainty_w > 0 else ASSUMED_METER_SHARE * mean_w
    return math.hypot(of_class, step_w / math.sqrt(12.0))
