"""Compares two measured quantities: difference, ratio, probability, and whether the difference is significant."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from scipy.special import ndtr, stdtr

from app.compute.comparison.setting_in_room import SettingInRoom, natural_correlation, without_linearity
from app.compute.statistics.asymmetric import AsymmetricMeasured
from app.compute.statistics.measured import Measured, coverage_factor_95
from app.compute.statistics.propagation import common_component, effective_degrees_of_freedom
from app.compute.statistics.shared_parts import without_shared_part


@dataclass(frozen=True, slots=True)
class Comparison:
    """The first quantity compared with the second.

    difference : first minus second, in their unit; shared errors cancel
    ratio : first over second with Fieller's interval; None where it is meaningless or unbounded
    told_apart : the 95 % interval of the difference excludes zero
    higher : which one is higher; None where the difference is not significant
    times : the higher over the lower, None where `higher` is, or where it is unbounded
    at_least_times : lower 95 % limit of `times` where it is unbounded because the lower rate is not distinguishable
        from zero
    probability_first_higher : that the first truly is higher, 0 to 1, given these data and no other knowledge
    """

    difference: Measured
    ratio: AsymmetricMeasured | None
    told_apart: bool
    higher: Literal["first", "second"] | None
    times: AsymmetricMeasured | None
    at_least_times: float | None
    probability_first_higher: float


def compare_measured(
    first: Measured,
    second: Measured,
    *,
    with_ratio: bool = True,
    pooled_spread: bool = False,
    shared: tuple[float, float] = (0.0, 0.0),
) -> Comparison:
    r"""Two quantities of one unit measured independently: power, money, or levels in dB with `with_ratio=False`.

    pooled_spread : the uncertainty of both comes from one spread, so their degrees of freedom do not add up
    shared : parts of the uncertainties from one common error s, such as the linearity of one logger

    .. math:: d = a - b, \qquad u_d^2 = (u_a^2 - s_a^2) + (u_b^2 - s_b^2) + (s_a - s_b)^2

    Degrees of freedom by Welch and Satterthwaite; a ratio of decibels has no meaning and is left out.

    >>> quieter = compare_measured(Measured(38.0, 0.4), Measured(41.2, 0.5), with_ratio=False)
    >>> quieter.higher, round(quieter.difference.high_95, 2)
    ('second', -1.95)
    """

    own = without_shared_part(first, shared[0]), without_shared_part(second, shared[1])

    def parts(one: float, other: float) -> tuple[tuple[float, float], ...]:
        both = tuple(
            (scale * quantity.uncertainty, quantity.degrees_of_freedom)
            for scale, quantity in zip((one, other), own, strict=True)
        )
        common = (abs(one * shared[0] - other * shared[1]), math.inf)
        return (common_component(both), common) if pooled_spread else (*both, common)

    difference = _combined(first.value - second.value, parts(1.0, 1.0))
    if not with_ratio:
        return _gather(difference, None)

    def degrees_of(one: float, other: float) -> float:
        return effective_degrees_of_freedom(parts(one, other))

    variances = (first.uncertainty**2, second.uncertainty**2, shared[0] * shared[1])
    return _gather(difference, _Pair(first.value, second.value, *variances, degrees_of))


def compare_clean_air(first: SettingInRoom, second: SettingInRoom) -> Comparison:
    """Clean air delivery rates of two settings. [m³/h]

    .. math:: d = V_1 (k_1 - n_1) - V_2 (k_2 - n_2)

    With the same empty-room runs the shared natural decay has the sensitivity V2 - V1, so it cancels in one room; with
    some runs in common it cancels in part (`natural_correlation`). In one room the volume scales the difference and
    cancels in the ratio. So does the linearity of a logger that measured both: its exponent multiplies all rates alike.
    The warm-up of a sensor does not cancel, because whether it was cold is not known of each log.

    >>> room, natural = Measured(30.0, 1.5), Measured(0.6, 0.2)
    >>> strong = SettingInRoom(Measured(6.0, 0.1), natural, 1, room, 1)
    >>> weak = SettingInRoom(Measured(5.5, 0.1), natural, 1, room, 1)
    >>> compare_clean_air(strong, weak).told_apart  # each rate alone is uncertain by 10 m³/h through shared errors
    True
    """
    difference = _combined(first.rate_m3_per_h - second.rate_m3_per_h, _clean_air_parts(first, second, 1.0, 1.0))
    one_room = first.room_id == second.room_id
    # in one room the volume cancels in the ratio
    volume_1, volume_2 = (1.0, 1.0) if one_room else (first.volume.value, second.volume.value)
    of_natural = first.natural_decay.uncertainty * second.natural_decay.uncertainty
    shared = volume_1 * volume_2 * natural_correlation(first, second) * of_natural
    if _one_logger(first, second):
        shared += volume_1 * volume_2 * first.linearity_per_h * second.linearity_per_h

    def degrees_of(one: float, other: float) -> float:
        return effective_degrees_of_freedom(_clean_air_parts(first, second, one, other, with_volume=not one_room))

    pair = _Pair(
        volume_1 * first.cleaning_per_h,
        volume_2 * second.cleaning_per_h,
        _variance(first, volume_1, with_volume=not one_room),
        _variance(second, volume_2, with_volume=not one_room),
        shared,
        degrees_of,
    )
    return _gather(difference, pair)


def compare_clearing_times(
    first: Measured, second: Measured, *, pooled_spread: bool = False, shared: tuple[float, float] = (0.0, 0.0)
) -> Comparison:
    r"""How much faster one setting clears than the other, from their total decay rates. [1/h]

    .. math:: \frac{t_2}{t_1} = \frac{k_1}{k_2}

    Standard clearing times are ln 20 / k, so the ratio of rates is the inverse ratio of times, and
    `higher` is the faster one. Total decay belongs to the room of the test; the two have to come from one room.
    `pooled_spread` and `shared` as in `compare_measured`.

    >>> faster = compare_clearing_times(Measured(6.4, 0.2), Measured(4.0, 0.2))
    >>> faster.higher, [round(x, 2) for x in faster.times.interval_95]
    ('first', [1.43, 1.8])
    """
    return compare_measured(first, second, pooled_spread=pooled_spread, shared=shared)


@dataclass(frozen=True, slots=True)
class _Pair:
    """Numerator a, denominator b of a ratio; `degrees_of(f, g)`: degrees of freedom of f a - g b, f and g positive."""

    numerator: float
    denominator: float
    numerator_variance: float
    denominator_variance: float
    covariance: float
    degrees_of: Callable[[float, float], float]

    def turned(self) -> "_Pair":
        return _Pair(
            self.denominator,
            self.numerator,
            self.denominator_variance,
            self.numerator_variance,
            self.covariance,
            lambda one, other: self.degrees_of(other, one),
        )


def fieller_interval(
    numerator: float,
    denominator: float,
    numerator_variance: float,
    denominator_variance: float,
    covariance: float,
    degrees_of_freedom: float,
) -> tuple[float, float] | None:
    r"""95 % interval of a ratio of two normal means, None where it is unbounded. [1]_

    .. math:: \frac{B \pm \sqrt{B^2 - AC}}{A}, \quad A = b^2 - t^2 v_b,\ B = ab - t^2 c_{ab},\ C = a^2 - t^2 v_a

    The interval is bounded only where the denominator is significantly above zero, A > 0.

    References
    ----------
    .. [1] E. C. Fieller, J. R. Stat. Soc. B 16, 175-185, 1954; formula read in two public texts on ratio intervals.

    >>> fieller_interval(8.0, 4.0, 0.04, 0.04, 0.0, math.inf)
    (1.79..., 2.24...)
    """
    t = coverage_factor_95(degrees_of_freedom)
    a = denominator**2 - t**2 * denominator_variance
    if not a > 0:
        return None
    b = numerator * denominator - t**2 * covariance
    c = numerator**2 - t**2 * numerator_variance
    root = math.sqrt(max(0.0, b**2 - a * c))
    return (b - root) / a, (b + root) / a


def _ratio(pair: _Pair) -> AsymmetricMeasured | None:
    if pair.denominator == 0:
        return None
    value = pair.numerator / pair.denominator
    degrees = pair.degrees_of(1.0, abs(value))
    interval = fieller_interval(
        pair.numerator,
        pair.denominator,
        pair.numerator_variance,
        pair.denominator_variance,
        pair.covariance,
        degrees,
    )
    if interval is None or pair.denominator < 0:
        return None
    variance = pair.numerator_variance - 2 * value * pair.covariance + value**2 * pair.denominator_variance
    # the best value lies inside by construction; rounding may put it one digit outside a zero-width interval
    low, high = min(interval[0], value), max(interval[1], value)
    return AsymmetricMeasured(value, math.sqrt(max(0.0, variance)) / pair.denominator, low, high)


def _gather(difference: Measured, pair: _Pair | None) -> Comparison:
    told_apart = difference.low_95 > 0 or difference.high_95 < 0
    higher: Literal["first", "second"] | None = None
    if told_apart:
        higher = "first" if difference.value > 0 else "second"
    ratio = _ratio(pair) if pair else None
    times, at_least = None, None
    if pair and higher:
        of_higher = pair if higher == "first" else pair.turned()
        times = _ratio(of_higher)
        if times is None and of_higher.numerator > 0:
            upside_down = _ratio(of_higher.turned())
            at_least = 1.0 / upside_down.high_95 if upside_down and upside_down.high_95 > 0 else None
    return Comparison(
        difference=difference,
        ratio=ratio,
        told_apart=told_apart,
        higher=higher,
        times=times,
        at_least_times=at_least,
        probability_first_higher=_probability_above_zero(difference),
    )


def _probability_above_zero(quantity: Measured) -> float:
    if quantity.uncertainty == 0:
        return 0.5 if quantity.value == 0 else float(quantity.value > 0)
    t = quantity.value / quantity.uncertainty
    if math.isinf(quantity.degrees_of_freedom):
        return float(ndtr(t))
    return float(stdtr(quantity.degrees_of_freedom, t))


def _combined(value: float, parts: tuple[tuple[float, float], ...]) -> Measured:
    return Measured(value, math.hypot(*(u for u, _ in parts)), effective_degrees_of_freedom(parts))


def _clean_air_parts(
    first: SettingInRoom, second: SettingInRoom, one: float, other: float, *, with_volume: bool = True
) -> tuple[tuple[float, float], ...]:
    """Variance components of one · V1 (k1 - n1) - other · V2 (k2 - n2), shared parts taken together. [m³/h]"""
    volume_1, volume_2 = one * first.volume.value, other * second.volume.value
    one_logger = _one_logger(first, second)
    totals = [without_linearity(setting) if one_logger else setting.total_decay for setting in (first, second)]
    parts = [
        (volume * total.uncertainty, total.degrees_of_freedom)
        for volume, total in zip((volume_1, volume_2), totals, strict=True)
    ]
    if first.pooled_spread and second.pooled_spread:
        parts = [common_component(parts)]
    if one_logger:
        parts.append((abs(volume_1 * first.linearity_per_h - volume_2 * second.linearity_per_h), math.inf))
    parts.append(_natural_part(first, second, volume_1, volume_2))
    if with_volume and first.room_id == second.room_id:
        cleaning = one * first.cleaning_per_h - other * second.cleaning_per_h
        parts.append((abs(cleaning) * first.volume.uncertainty, first.volume.degrees_of_freedom))
    elif with_volume:
        for scale, setting in ((one, first), (other, second)):
            parts.append(
                (scale * setting.cleaning_per_h * setting.volume.uncertainty, setting.volume.degrees_of_freedom)
            )
    return tuple(parts)


def _one_logger(first: SettingInRoom, second: SettingInRoom) -> bool:
    return first.logger_id is not None and first.logger_id == second.logger_id


def _natural_part(first: SettingInRoom, second: SettingInRoom, volume_1: float, volume_2: float) -> tuple[float, float]:
    """Uncertainty of V1 n1 - V2 n2, allowing for shared runs, with the fewer of the two degrees of freedom. [m³/h]"""
    one, other = volume_1 * first.natural_decay.uncertainty, volume_2 * second.natural_decay.uncertainty
    correlation = natural_correlation(first, second)
    variance = max(0.0, one**2 + other**2 - 2 * correlation * one * other)
    degrees = min(first.natural_decay.degrees_of_freedom, second.natural_decay.degrees_of_freedom)
    return math.sqrt(variance), degrees


def _variance(setting: SettingInRoom, volume: float, *, with_volume: bool) -> float:
    decay = volume**2 * (setting.total_decay.uncertainty**2 + setting.natural_decay.uncertainty**2)
    return decay + (setting.cleaning_per_h * setting.volume.uncertainty) ** 2 if with_volume else decay
