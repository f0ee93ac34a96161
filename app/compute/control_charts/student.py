"""Points of Student's t, without a library that takes longer to load than the page that needs them."""

import math
from functools import lru_cache

_CLOSE = 1e-15
_MOST_STEPS = 200


@lru_cache
def point_of_student(sigmas: float, degrees_of_freedom: float) -> float:
    r"""Point of Student's t that is exceeded with the same probability as this many standard deviations of a normal
    distribution.

    .. math:: P(T > t) = \tfrac12 I_x\left(\tfrac{\nu}{2}, \tfrac12\right), \qquad x = \frac{\nu}{\nu + t^2}

    with the regularised incomplete beta function I (Abramowitz and Stegun, 26.7.1; from memory), solved for t by
    Newton's method. Compared with scipy to ten digits.

    sigmas : above zero;  degrees_of_freedom : above zero

    >>> round(point_of_student(1.959963984540054, 10.0), 6), point_of_student(3.0, math.inf)
    (2.228139, 3.0)
    """
    if math.isinf(degrees_of_freedom):
        return sigmas
    half = degrees_of_freedom / 2
    wanted = math.erfc(sigmas / math.sqrt(2)) / 2
    density_at_zero = math.exp(math.lgamma(half + 0.5) - math.lgamma(half)) / math.sqrt(degrees_of_freedom * math.pi)
    t = sigmas
    for _ in range(_MOST_STEPS):  # from below, where the tail is convex, so no step passes the root
        density = density_at_zero * (1 + t * t / degrees_of_freedom) ** -(half + 0.5)
        step = (_upper_tail(t, degrees_of_freedom) - wanted) / density
        t += step
        if abs(step) <= 4 * _CLOSE * t:
            break
    return t


def _upper_tail(t: float, degrees_of_freedom: float) -> float:
    """P(T > t) for t above zero."""
    x = degrees_of_freedom / (degrees_of_freedom + t * t)
    a, b = degrees_of_freedom / 2, 0.5
    front = math.exp(math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x))
    if x < (a + 1) / (a + b + 2):
        return front * _fraction(x, a, b) / a / 2
    return (1 - front * _fraction(1 - x, b, a) / b) / 2


def _fraction(x: float, a: float, b: float) -> float:
    """Continued fraction of the incomplete beta function (Abramowitz and Stegun, 26.5.8; from memory), by Lentz's
    method.
    """
    numerator, denominator = 1.0, 1 / (1 - (a + b) * x / (a + 1))
    value = denominator
    for m in range(1, _MOST_STEPS):
        for term in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            denominator = 1 / (1 + term * denominator)
            numerator = 1 + term / numerator
            factor = numerator * denominator
            value *= factor
        if abs(factor - 1) <= _CLOSE:
            break
    return value
