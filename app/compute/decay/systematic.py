"""Systematic budget of a decay rate: what the scatter of the readings does not show.

Each line is a standard uncertainty with its basis. The lines are independent of the noise and of each other, so the
uncertainty of the rate is the root of the sum of squares [1]_.

References
.. [1] JCGM 100:2008, 5.1.2.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from app.compute.decay.result import DecayFit
from app.compute.signal.exponential import exponential
from app.compute.signal.exponential_fit import ExponentialFit
from app.compute.signal.fitting import scaled_inverse
from app.compute.signal.logger_timing import NOT_KNOWN, LoggerTiming
from app.compute.signal.noise import Floats
from app.compute.signal.rate_table import BackgroundBounds
from app.compute.statistics.measured import Measured, at_least_as_wide
from app.compute.statistics.propagation import effective_degrees_of_freedom
from app.compute.statistics.shared_parts import SharedColumns

LINEARITY = 0.001  # of the rate: reading proportional to C^(1 ± 0.001)
# Excess of the gain of a sensor that was just switched on, and its time constant.
WARM_UP_SHARE = 0.06
WARM_UP_H = 1 / 6
NO_SOURCE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class SystematicLine:
    """relative_uncertainty : standard uncertainty over the rate; 0 for what is assumed and cannot be seen in one log"""

    source: str
    relative_uncertainty: float
    basis: str


@dataclass(frozen=True, slots=True)
class SystematicParts:
    """Standard uncertainties that the budget of a rate is made of [1/h].

    background_drift : part of the fit's own uncertainty, because the fit has a drift of the background
    warm_up : of the sensor
    window : change over other windows, 0 where noise explains it
    humidity : of a change of humidity
    curvature : that a check of the logger shows; 0 where none does
    """

    background_drift: float = 0.0
    warm_up: float = 0.0
    window: float = 0.0
    humidity: float = 0.0
    curvature: float = 0.0


@dataclass(frozen=True, slots=True)
class Information:
    """What the blocks of a fit say of its parameters.

    columns : of background, amplitude, rate and, where there is one, drift; weighted : the same times Ω⁻¹
    normal : the normal matrix, with what is known of background and drift
    """

    columns: Floats
    weighted: Floats
    normal: Floats


def information(time_h: Floats, fitted: ExponentialFit, bounds: BackgroundBounds) -> Information:
    """Of the blocks at these times from the window's start [h]."""
    decayed = exponential(fitted.rate, time_h)
    rows = [np.ones(time_h.size), decayed, -fitted.amplitude * time_h * decayed]
    if bounds.drift_per_h > 0:
        rows.append(time_h)
    columns = np.array(rows).T
    weighted = fitted.inverse.times(columns)
    normal = columns.T @ weighted
    known = bounds.given_uncertainty if bounds.given is not None else (bounds.high - bounds.low) / math.sqrt(12)
    normal[0, 0] += 1 / max(known, 1e-12) ** 2
    if bounds.drift_per_h > 0:
        normal[3, 3] += 1 / bounds.drift_per_h**2
    return Information(columns, weighted, normal)


def warm_up_uncertainty(time_h: Floats, fitted: ExponentialFit, known: Information, since_on_h: float) -> float:
    r"""Standard uncertainty of a rate from the gain of a sensor that is still warming up [1/h].

    .. math:: u = s\,\left|\left[(X^T \Omega^{-1} X + P)^{-1} X^T \Omega^{-1} h\right]_k\right|, \quad
              h_i = C_i\,e^{-(t_0 + t_i)/\tau}

    The shape h is what the excess of the gain adds to the readings; the fit of background, amplitude, rate and drift
    (the columns of X, with what is known of them, P) turns it into a change of the rate. s = 0.06 and τ = 10 min:
    common practice, no source.

    Parameters
    time_h : of the blocks from the window's start [h]
    since_on_h : from the switch-on of the sensor, at the latest the log's first reading, to there [h]
    """
    curve = fitted.background + fitted.amplitude * known.columns[:, 1]
    shape = WARM_UP_SHARE * curve * np.exp(-(since_on_h + time_h) / WARM_UP_H)
    return abs(float((scaled_inverse(known.normal) @ (known.weighted.T @ shape))[2]))


def budget(
    rate_per_h: float, parts: SystematicParts, volume_share: float | None = None, timing: LoggerTiming = NOT_KNOWN
) -> tuple[SystematicLine, ...]:
    """The lines of the budget of a rate, largest first, then what is assumed.

    volume_share : relative uncertainty of the room volume, which the clean air delivery rate includes; None if unknown

    >>> [line.source for line in budget(3.0, SystematicParts(background_drift=0.03, humidity=0.02))][:3]
    ['background drift', 'humidity', 'linearity']
    """
    size = max(abs(rate_per_h), 1e-12)
    lines = [
        SystematicLine(
            "background drift",
            parts.background_drift / size,
            "the fit has a steady drift of 7 % of the background per hour, in one run of four 50 % (standard "
            "deviations): hourly means of an outdoor reference monitor change by up to 8 % in 68 % and up to 23 % in "
            f"95 % of hours, and a room has doors and sources of its own; {NO_SOURCE}",
        ),
        _linearity_line(size, parts.curvature),
        SystematicLine(
            "sensor warm-up",
            parts.warm_up / size,
            f"6 % of gain at switch-on of the sensor, with a time constant of 10 min; at the first reading, unless its "
            f"logger is entered as on before; {NO_SOURCE}",
        ),
        SystematicLine("mixing and choice of window", parts.window / size, "the rate in six other windows of this run"),
        SystematicLine("humidity", parts.humidity / size, "growth of wet particles between no water and most organics"),
    ]
    if volume_share is not None:
        lines.append(SystematicLine("room volume", volume_share, "clean air delivery rate only; as entered"))
    seen = sorted((line for line in lines if line.relative_uncertainty > 0), key=lambda one: -one.relative_uncertainty)
    return (*seen, *_assumed(timing))


def _linearity_line(size: float, curvature: float) -> SystematicLine:
    if curvature > 0:
        basis = "curvature that the last check of this logger shows against its reference; readings are not corrected"
        return SystematicLine("linearity", curvature / size, basis)
    return SystematicLine(
        "linearity", LINEARITY, f"reading proportional to the level to the power 1 ± 0.001; {NO_SOURCE}"
    )


def linearity_uncertainty(rate_per_h: Floats | float, curvature: Floats | float) -> Floats:
    """Part of the uncertainty of rates for the logger's linearity [1/h]: a curvature shown by a check, or in general.

    >>> linearity_uncertainty(np.array([4.0, 4.0]), np.array([0.0, 0.05]))
    array([0.004, 0.05 ])
    """
    part: Floats = np.where(np.asarray(curvature) > 0, curvature, LINEARITY * np.abs(rate_per_h))
    return part


def shared_parts(
    rate: Floats,
    uncertainty: Floats,
    statistical: Floats,
    window: Floats,
    humidity: Floats,
    warm_up: Floats,
    curvature: Floats,
) -> SharedColumns:
    """Parts of the uncertainties of rates that repeats share, from their stored parts, one trial a row [1/h].

    rate, uncertainty : not-a-number without a rate; and so the others where they are not known
    statistical : of the fit; window : change over other windows; counted where it exceeds the statistical one
    warm_up : not known in results from before method 2.1, whose uncertainty has neither warm-up nor linearity
    curvature : not known without a check of the logger that shows one
    """
    known = ~np.isnan(warm_up)
    humidity = np.where(np.isnan(humidity), 0.0, humidity)
    warm_up = np.where(known, warm_up, 0.0)
    linearity = np.where(known, linearity_uncertainty(rate, curvature), 0.0)
    left = uncertainty**2 - statistical**2 - humidity**2 - warm_up**2 - linearity**2
    window = np.where((window > statistical) & (left > 0), np.minimum(window, np.sqrt(np.maximum(left, 0.0))), 0.0)
    return SharedColumns(humidity, window, warm_up, linearity)


def _assumed(timing: LoggerTiming) -> tuple[SystematicLine, ...]:
    """What one log cannot show, with a size of zero."""
    return (
        SystematicLine("gain drift", 0.0, f"assumed none during the run; one log cannot show it; {NO_SOURCE}"),
        SystematicLine(
            "coincidence losses",
            0.0,
            "assumed none below the detector's limit; one log cannot show them; start with less smoke; " + NO_SOURCE,
        ),
        SystematicLine("time stamp", 0.0, f"moves unit on and time to clear, not the rate; {_stamp_words(timing)}"),
    )


def _stamp_words(timing: LoggerTiming) -> str:
    """When a reading counts, as entered for the logger or assumed."""
    if timing.averaging_s == 0:
        return "entered for this logger: each reading is of the moment of its stamp"
    if timing.averaging_s is None or not timing.is_known:
        return (
            "nothing is entered for this logger, so the stamp counts as the middle of the averaging time, with one "
            "interval in the time to clear"
        )
    entered = f"entered for this logger: means over {timing.averaging_s:g} s, stamped at their {timing.stamp}"
    if timing.late_s == 0:
        return f"{entered}, so no time is corrected"
    return f"{entered}, so times are corrected by {abs(timing.late_s):g} s"


def drift_uncertainty(fitted: ExponentialFit, known: Information) -> float:
    r"""Part of the fit's uncertainty of the rate that comes from a drift of the background [1/h].

    .. math:: u_d = u\,\sqrt{1 - u_0^2/u_1^2}

    with u₁ the uncertainty of generalised least squares with the drift and its prior, u₀ without a drift.
    """
    normal = known.normal
    if len(normal) == 3:
        return 0.0
    without = scaled_inverse(normal[:3, :3])[2, 2]
    share = 1 - float(without) / max(float(scaled_inverse(normal)[2, 2]), 1e-300)
    return fitted.uncertainty * math.sqrt(min(max(share, 0.0), 1.0))


def with_budget(fit: DecayFit, background_drift: float, warm_up: float) -> DecayFit:
    """The fit with the lines of the budget that its own uncertainty does not have yet."""
    rate = fit.decay_rate
    if rate is None:
        return fit
    uncertainty = math.hypot(rate.uncertainty, LINEARITY * rate.value, warm_up)
    more = math.hypot(LINEARITY * rate.value, warm_up)
    degrees = effective_degrees_of_freedom([(rate.uncertainty, rate.degrees_of_freedom), (more, math.inf)])
    wider = at_least_as_wide(Measured(rate.value, uncertainty, degrees), rate)
    turn = np.array([1.0, 1.0, uncertainty / rate.uncertainty if rate.uncertainty > 0 else 1.0])
    covariance = np.array(fit.covariance) * np.outer(turn, turn)
    return replace(
        fit,
        decay_rate=wider,
        covariance=rows_of(covariance),
        background_drift_uncertainty_per_h=background_drift,
        warm_up_uncertainty_per_h=warm_up,
    )


def rows_of(matrix: Floats) -> tuple[tuple[float, float, float], ...]:
    return tuple((float(row[0]), float(row[1]), float(row[2])) for row in matrix)


def parts_of(fit: DecayFit) -> SystematicParts:
    """Parts of the uncertainty of a fit's rate; the change over other windows is what the other parts leave."""
    rate = fit.decay_rate
    if rate is None:
        return SystematicParts()
    others = (
        fit.statistical_uncertainty_per_h,
        float(linearity_uncertainty(rate.value, fit.curvature_uncertainty_per_h)),
        fit.warm_up_uncertainty_per_h,
        fit.humidity_uncertainty_per_h,
    )
    left = rate.uncertainty**2 - sum(part * part for part in others)
    window = math.sqrt(left) if left > 1e-6 * rate.uncertainty**2 else 0.0
    return SystematicParts(
        fit.background_drift_uncertainty_per_h,
        fit.warm_up_uncertainty_per_h,
        window,
        fit.humidity_uncertainty_per_h,
        fit.curvature_uncertainty_per_h,
    )


def budget_of(
    fit: DecayFit,
    volume_share: float | None = None,
    check_unit_share: float | None = None,
    timing: LoggerTiming = NOT_KNOWN,
) -> tuple[SystematicLine, ...]:
    """The budget of a fit's rate; empty without a rate. `volume_share` as in `budget`.

    check_unit_share : spread of the check unit of the room over its rate, which the clean air delivery rate includes
    timing : as entered for the logger
    """
    if fit.decay_rate is None:
        return ()
    lines = budget(fit.decay_rate.value, parts_of(fit), volume_share, timing)
    if not check_unit_share:
        return lines
    line = SystematicLine(
        "check unit",
        check_unit_share,
        "clean air delivery rate only; how much the same cleaner varies in this room between its runs",
    )
    return tuple(sorted((*lines, line), key=lambda one: -one.relative_uncertainty))
