"""Exact conversion factors between the units used in `compute/` and the foot-based units.

The international foot is 0.3048 m by definition (NIST SP 811, B.6), so that every factor here is exact but for
floating-point rounding. Inside `compute/` everything stays in m², m³ and m³/h; change units at the edge.

>>> round(CUBIC_FEET_PER_MINUTE_PER_M3_PER_H, 12)
0.588577778691
"""

METRES_PER_FOOT = 0.3048
M2_PER_SQUARE_FOOT = METRES_PER_FOOT**2
M3_PER_CUBIC_FOOT = METRES_PER_FOOT**3
M3_PER_H_PER_CUBIC_FOOT_PER_MINUTE = 60.0 * M3_PER_CUBIC_FOOT
CUBIC_FEET_PER_MINUTE_PER_M3_PER_H = 1.0 / M3_PER_H_PER_CUBIC_FOOT_PER_MINUTE


def to_cubic_feet_per_minute(flow_m3_per_h: float) -> float:
    """Air flow in cubic feet a minute, from m³/h.

    >>> round(to_cubic_feet_per_minute(100.0), 2)
    58.86
    """
    return flow_m3_per_h * CUBIC_FEET_PER_MINUTE_PER_M3_PER_H


def from_cubic_feet_per_minute(flow_cfm: float) -> float:
    """Air flow in m³/h, from cubic feet a minute.

    >>> from_cubic_feet_per_minute(100.0)
    169.90107955...
    """
    return flow_cfm * M3_PER_H_PER_CUBIC_FOOT_PER_MINUTE
