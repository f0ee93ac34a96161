"""Checks between the channels of one trial (two detectors, humidity, temperature, weak channels), and what the verdict
leaves of each channel.
"""

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from app.compute.decay.fit import no_fit
from app.compute.decay.result import ChannelDecay, TimeToClear
from app.compute.signal.humidity import HumidityBias, humidity_bias, readings_between
from app.compute.signal.noise import Floats, median
from app.compute.statistics.measured import Measured, at_least_as_wide
from app.compute.statistics.propagation import effective_degrees_of_freedom
from app.compute.wording.notes import Advice, Note, Severity
from app.compute.wording.numbers import level_text

# US EPA sensor toolkit, hourly averages (read there): a pair is rejected where BOTH limits are exceeded.
DETECTOR_DIFFERENCE_UG_M3 = 5.0
DETECTOR_DIFFERENCE_SHARE = 0.7
DETECTOR_AVERAGE_H = 1.0
HUMIDITY_CHANGE_PCT = 10.0  # [percentage points] over the fit window; common practice, no source
HUMID_RATE_SHARE = 0.05  # of the decay rate: humidity bias above which a note is given; common practice, no source
HUMID_UNUSABLE_SHARE = 0.30  # of the decay rate: above it the rate depends more on water than on smoke
HIGH_HUMIDITY_PCT = 70.0  # the 2022 correction is not defined above it
TEMPERATURE_CHANGE_C = 5.0  # over the fit window; common practice, no source

HUMIDITY_CHANNEL, TEMPERATURE_CHANNEL = "relative_humidity", "temperature"


def cross_channel_notes(
    elapsed_s: ArrayLike, levels: Mapping[str, ArrayLike], decays: Mapping[str, ChannelDecay]
) -> dict[str, tuple[Note, ...]]:
    """Notes for each channel of `decays` from comparing channels of the same log.

    Parameters
    elapsed_s : time since the log's first reading, the same for all channels [s]
    levels : all channels by name; not-a-number where there is no reading
    decays : results of `analyse_decay`

    Raises   ValueError where a channel's levels and the times differ in number
    """
    time_h = np.asarray(elapsed_s, dtype=float).ravel() / 3600
    arrays = {name: np.asarray(values, dtype=float).ravel() for name, values in levels.items()}
    for name, values in arrays.items():
        if values.size != time_h.size:
            raise ValueError(f"There are {time_h.size} times and {values.size} levels of {name}; each needs both.")
    return {name: tuple(_notes_of(name, decay, time_h, arrays, decays)) for name, decay in decays.items()}


def judged(decay: ChannelDecay) -> ChannelDecay:
    """The decay as results may use it: an unusable one has neither rate nor times, so no number of it can be shown.

    Its fit stays as `rejected_fit`, for drawing what is wrong with it.
    """
    fit, clear = decay.fit, decay.time_to_clear
    if decay.usable or fit is None:
        return decay
    none = no_fit(fit.why_not or "The trial is unusable.", fit.window_start_h, fit.window_end_h, fit.readings_fitted)
    cleared = TimeToClear(False, None, None, None, clear.clear_level)
    return replace(decay, fit=none, time_to_clear=cleared, rejected_fit=fit if fit.decay_rate is not None else None)


def with_humidity_uncertainty(
    elapsed_s: ArrayLike, levels: Mapping[str, ArrayLike], decays: Mapping[str, ChannelDecay]
) -> dict[str, ChannelDecay]:
    r"""The decays with the humidity component added to the uncertainty of particle rates.

    .. math:: u^2 = u_{fit}^2 + u_h^2, \quad u_h = |\Delta k_{largest}| / \sqrt 3

    The rate is not corrected, because the growth of the particles is not known: any shift from zero to
    the largest counts as equally likely, and u_h is its root mean square (JCGM 100:2008, 4.3.7 and F.2.4.5: an
    uncorrected shift belongs in the uncertainty; from memory).
    """
    time_h = np.asarray(elapsed_s, dtype=float).ravel() / 3600
    if HUMIDITY_CHANNEL not in levels:
        return dict(decays)
    humidity_pct = np.asarray(levels[HUMIDITY_CHANNEL], dtype=float).ravel()
    return {name: _with_humidity(decay, _bias_of(name, decay, time_h, humidity_pct)) for name, decay in decays.items()}


def _with_humidity(decay: ChannelDecay, bias: HumidityBias | None) -> ChannelDecay:
    if bias is None or bias.uncertainty_per_h == 0 or decay.fit is None or decay.fit.decay_rate is None:
        return decay  # unchanged to the last digit
    rate, of_humidity = decay.fit.decay_rate, bias.uncertainty_per_h
    parts = [(rate.uncertainty, rate.degrees_of_freedom), (of_humidity, math.inf)]
    wider = Measured(rate.value, math.hypot(rate.uncertainty, of_humidity), effective_degrees_of_freedom(parts))
    wider = at_least_as_wide(wider, rate)
    return replace(decay, fit=replace(decay.fit, decay_rate=wider, humidity_uncertainty_per_h=of_humidity))


def _bias_of(name: str, decay: ChannelDecay, time_h: Floats, humidity_pct: Floats | None) -> HumidityBias | None:
    """Effect of the humidity change on this channel's rate; None for a channel that humidity does not affect."""
    fit = decay.fit
    particles = name.startswith(("pm", "count_"))
    if humidity_pct is None or fit is None or fit.decay_rate is None or not particles:
        return None
    return humidity_bias(time_h, humidity_pct, fit.window_start_h, fit.window_end_h)


def _notes_of(
    name: str, decay: ChannelDecay, time_h: Floats, arrays: Mapping[str, Floats], decays: Mapping[str, ChannelDecay]
) -> list[Note]:
    found = [
        _detectors_disagree(name, decay, time_h, arrays, decays),
        _humidity(name, decay, time_h, arrays.get(HUMIDITY_CHANNEL)),
        _temperature(decay, time_h, arrays.get(TEMPERATURE_CHANNEL)),
        _weak_channel(name),
    ]
    return [note for note in found if note is not None]


def pair_of(name: str, names: Mapping[str, object]) -> str | None:
    """The other detector's channel of the same quantity, None where there is one detector.

    >>> pair_of("pm2_5", {"pm2_5": 1, "pm2_5_b": 2}), pair_of("pm2_5_b", {"pm2_5": 1, "pm2_5_b": 2})
    ('pm2_5_b', 'pm2_5')
    """
    other = name.removesuffix("_b") if name.endswith("_b") else f"{name}_b"
    return other if other in names else None


def _detectors_disagree(
    name: str, decay: ChannelDecay, time_h: Floats, arrays: Mapping[str, Floats], decays: Mapping[str, ChannelDecay]
) -> Note | None:
    other = pair_of(name, arrays)
    if other is None or not name.startswith("pm") or name not in arrays:
        return None
    worst = _largest_disagreement(time_h, arrays[name], arrays[other], decay.unit_on_h, decay.end_h)
    if worst is None:
        return None
    difference, share, at_h = worst
    rates_differ, rates = _rates_text(decay, decays.get(other))
    severity: Severity = "unusable" if rates_differ else "care"
    at = 60 * (at_h - decay.unit_on_h)
    message = (
        f"The two detectors of {_size_text(name)} differ by {level_text(abs(difference), 'µg/m³')} on average, "
        f"{abs(share):.0%} of their mean, over the hour from {at:.0f} min after unit on; differences above "
        f"{DETECTOR_DIFFERENCE_UG_M3:g} µg/m³ and {DETECTOR_DIFFERENCE_SHARE:.0%} together mean that one of them is "
        f"wrong. {rates}"
    )
    return Note(
        "detectors_disagree", severity, message, abs(difference), DETECTOR_DIFFERENCE_UG_M3, "µg/m³", at,
        Advice("clean_detectors"),
    )  # fmt: skip


def _largest_disagreement(
    time_h: Floats, first: Floats, second: Floats, start_h: float, end_h: float
) -> tuple[float, float, float] | None:
    """Difference, share of the mean and start of the hour in which both limits are exceeded most."""
    both = np.isfinite(first) & np.isfinite(second) & (time_h >= start_h) & (time_h <= end_h)
    worst: tuple[float, float, float] | None = None
    for hour in np.unique(((time_h[both] - start_h) // DETECTOR_AVERAGE_H).astype(int)):
        part = both & ((time_h - start_h) // DETECTOR_AVERAGE_H == hour)
        a, b = float(first[part].mean()), float(second[part].mean())
        share = 2 * (a - b) / (a + b) if a + b > 0 else 0.0
        exceeded = abs(a - b) > DETECTOR_DIFFERENCE_UG_M3 and abs(share) > DETECTOR_DIFFERENCE_SHARE
        if exceeded and (worst is None or abs(share) > abs(worst[1])):
            worst = (a - b, share, start_h + hour * DETECTOR_AVERAGE_H)
    return worst


def _size_text(name: str) -> str:
    """Name of the quantity of either detector's channel, for messages.

    >>> _size_text("pm2_5_b")
    'PM2.5'
    """
    return name.removesuffix("_b").upper().replace("_", ".")


def _rates_text(decay: ChannelDecay, other: ChannelDecay | None) -> tuple[bool, str]:
    """Whether the two rates differ by more than their intervals, with a sentence on it."""
    mine = decay.fit.decay_rate if decay.fit else None
    theirs = other.fit.decay_rate if other is not None and other.fit else None
    if mine is None or theirs is None:
        return False, "Only one of them gave a decay rate."
    limit = math.hypot(mine.expanded_uncertainty_95, theirs.expanded_uncertainty_95)
    differ = abs(mine.value - theirs.value) > limit
    verdict = "also disagree" if differ else ("agree nevertheless, because a constant factor does not affect the rate")
    return differ, f"Their decay rates ({mine.value:.3g} and {theirs.value:.3g} per hour) {verdict}."


def _humidity(name: str, decay: ChannelDecay, time_h: Floats, humidity_pct: Floats | None) -> Note | None:
    fit, bias = decay.fit, _bias_of(name, decay, time_h, humidity_pct)
    if bias is None or fit is None or fit.decay_rate is None:
        return None
    rate = abs(fit.decay_rate.value)
    change = bias.end_pct - bias.start_pct
    matters = abs(bias.largest_rate_bias_per_h) > HUMID_RATE_SHARE * rate
    if abs(change) <= HUMIDITY_CHANGE_PCT and not (matters and abs(change) > HUMIDITY_CHANGE_PCT / 2):
        return None
    severity: Severity = "unusable" if abs(bias.rate_bias_per_h) > HUMID_UNUSABLE_SHARE * rate else "care"
    return Note(
        "humidity_change", severity, _humidity_text(bias), change, HUMIDITY_CHANGE_PCT, "percentage points",
        60 * (fit.window_start_h - decay.unit_on_h), Advice("steady_humidity"),
    )  # fmt: skip


def _humidity_text(bias: HumidityBias) -> str:
    rose = bias.end_pct > bias.start_pct
    high = max(bias.start_pct, bias.end_pct) > HIGH_HUMIDITY_PCT
    beyond = f" (the source covers up to {HIGH_HUMIDITY_PCT:.0f} %, so this may be too low)" if high else ""
    cause = " Units that evaporate or spray water cause this." if rose else ""
    return (
        f"Relative humidity {'rose' if rose else 'fell'} from {bias.start_pct:.0f} to {bias.end_pct:.0f} % during the "
        f"fit window.{cause} Smoke particles take up water and grow, so an optical sensor reads the same dry smoke "
        f"{'higher' if rose else 'lower'} at the end by a factor of about {bias.factor:.2f}{beyond}, at most "
        f"{bias.largest_factor:.2f}. The decay rate is too {'low' if rose else 'high'} by about "
        f"{abs(bias.rate_bias_per_h):.2g} per hour, at most {abs(bias.largest_rate_bias_per_h):.2g}; it is not "
        f"corrected, but its uncertainty includes {bias.uncertainty_per_h:.2g} per hour for this."
    )


def _temperature(decay: ChannelDecay, time_h: Floats, temperature_c: Floats | None) -> Note | None:
    fit = decay.fit
    if temperature_c is None or fit is None or fit.decay_rate is None:
        return None
    values = readings_between(time_h, temperature_c, fit.window_start_h, fit.window_end_h)
    if values.size < 2:
        return None
    share = max(values.size // 10, 1)
    change = median(values[-share:]) - median(values[:share])
    if abs(change) <= TEMPERATURE_CHANGE_C:
        return None
    message = (
        f"The temperature changed by {change:+.1f} °C during the fit window; up to {TEMPERATURE_CHANGE_C:g} °C is "
        "usual. Sensors drift with temperature, and warm air leaks faster."
    )
    return Note(
        "temperature_change", "care", message, change, TEMPERATURE_CHANGE_C, "°C", advice=Advice("steady_temperature")
    )


def _weak_channel(name: str) -> Note | None:
    if name.startswith("pm10"):
        message = (
            "PM10 from an optical sensor is weak evidence: such sensors detect few particles above 3 µm and infer "
            "the rest from fine ones. Use PM1 or PM2.5 first."
        )
        return Note("pm10_is_weak", "fine", message)
    if name.startswith("voc"):
        message = (
            "VOC is indicative only: the sensor responds to many gases and drifts, and cooking, people and paint "
            "emit them during a run."
        )
        return Note("voc_is_indicative", "care", message)
    return None
