"""Checks between channels, and the effect of humidity on optical readings."""

import math

import numpy as np
import pytest

from app.compute.decay.analysis import analyse_decay
from app.compute.decay.result import ChannelDecay, Marks
from app.compute.decay.trial_quality import cross_channel_notes, with_humidity_uncertainty
from app.compute.signal.humidity import diameter_growth, humidity_bias, mass_growth, reading_over_dry
from app.compute.wording.notes import Note

TIME_S = np.arange(0.0, 3600.0, 10.0)


def decay_of(levels: np.ndarray, channel: str = "pm2_5") -> ChannelDecay:
    return analyse_decay(TIME_S, levels, channel=channel, unit="µg/m³", marks=Marks(unit_on_h=0.0))


def curve(rate: float = 2.0, start: float = 300.0) -> np.ndarray:
    return np.round(5 + start * np.exp(-rate * TIME_S / 3600), 1)


def notes_for(channel: str, levels: dict[str, np.ndarray], analysed: tuple[str, ...] = ()) -> dict[str, Note]:
    decays = {name: decay_of(levels[name], name) for name in analysed or (channel,)}
    return {note.code: note for note in cross_channel_notes(TIME_S, levels, decays)[channel]}


def test_detectors_within_either_limit_agree():
    """US EPA sensor toolkit (read): a pair is thrown out where 5 µg/m³ AND 70 % of the mean are exceeded."""
    far_apart_but_within_a_share = {"pm2_5": curve(), "pm2_5_b": 1.5 * curve()}
    assert "detectors_disagree" not in notes_for("pm2_5", far_apart_but_within_a_share)
    low = {"pm2_5": curve(start=3.0), "pm2_5_b": 0.3 * curve(start=3.0)}
    assert "detectors_disagree" not in notes_for("pm2_5", low)


def test_detectors_beyond_both_limits_are_told_but_a_factor_does_not_spoil_the_rate():
    levels = {"pm2_5": curve(), "pm2_5_b": 0.3 * curve()}
    note = notes_for("pm2_5", levels, ("pm2_5", "pm2_5_b"))["detectors_disagree"]
    assert note.severity == "care"
    assert "agree nevertheless, because a constant factor does not affect the rate" in note.message
    assert note.limit == 5.0


def test_detectors_whose_rates_differ_too_are_not_used():
    levels = {"pm2_5": curve(2.0), "pm2_5_b": 0.3 * curve(6.0)}
    note = notes_for("pm2_5", levels, ("pm2_5", "pm2_5_b"))["detectors_disagree"]
    assert note.severity == "unusable"
    assert "also disagree" in note.message


def test_a_second_detector_without_a_decay_is_told():
    note = notes_for("pm2_5", {"pm2_5": curve(), "pm2_5_b": np.zeros(TIME_S.size)})["detectors_disagree"]
    assert "Only one of them gave a decay rate." in note.message


def test_a_unit_that_wets_the_air_is_caught_and_explained():
    humidity = np.linspace(45.0, 75.0, TIME_S.size)
    note = notes_for("pm2_5", {"pm2_5": curve(), "relative_humidity": humidity})["humidity_change"]
    assert note.severity == "care"
    assert note.value == pytest.approx(27, abs=3)
    assert "Units that evaporate or spray water cause this." in note.message
    assert "too low by about" in note.message
    assert "(the source covers up to 70 %" in note.message


def widened(rate: float, humidity_pct: np.ndarray) -> tuple[ChannelDecay, ChannelDecay]:
    levels = {"pm2_5": curve(rate), "relative_humidity": humidity_pct}
    alone = decay_of(levels["pm2_5"])
    return alone, with_humidity_uncertainty(TIME_S, levels, {"pm2_5": alone})["pm2_5"]


def test_the_interval_of_a_unit_that_wets_the_air_holds_the_rate_of_the_dry_smoke():
    """A sensor that reads 1 + 0.24/(100/RH - 1) times the dry mass (Nilson et al. 2022, read) while RH rises from 40
    to 65 %: the rate read off is too low, its scatter does not explain that, the widened interval holds the truth."""
    humidity = np.linspace(40.0, 65.0, TIME_S.size)
    over_read = np.array([reading_over_dry(value) for value in humidity])
    wet = np.round(300 * np.exp(-2.0 * TIME_S / 3600) * over_read, 2)
    marks = Marks(unit_on_h=0.0, background_level=0.0)
    alone = analyse_decay(TIME_S, wet, channel="pm2_5", unit="µg/m³", marks=marks)
    held = with_humidity_uncertainty(TIME_S, {"pm2_5": wet, "relative_humidity": humidity}, {"pm2_5": alone})["pm2_5"]
    assert alone.fit.decay_rate.value + 1.96 * alone.fit.statistical_uncertainty_per_h < 2.0
    assert held.fit.decay_rate.low_95 < 2.0 < held.fit.decay_rate.high_95
    assert held.fit.decay_rate.value == alone.fit.decay_rate.value


def test_the_part_of_humidity_is_kept_apart_and_adds_in_squares():
    alone, held = widened(2.0, np.linspace(45.0, 65.0, TIME_S.size))
    bias = humidity_bias(
        TIME_S / 3600, np.linspace(45.0, 65.0, TIME_S.size), alone.fit.window_start_h, alone.fit.window_end_h
    )
    part = held.fit.humidity_uncertainty_per_h
    assert part == pytest.approx(bias.largest_rate_bias_per_h / math.sqrt(3))
    assert held.fit.decay_rate.uncertainty == pytest.approx(math.hypot(alone.fit.decay_rate.uncertainty, part))
    assert held.fit.decay_rate.expanded_uncertainty_95 >= alone.fit.decay_rate.expanded_uncertainty_95
    note = notes_for("pm2_5", {"pm2_5": curve(), "relative_humidity": np.linspace(45.0, 65.0, TIME_S.size)})
    assert f"its uncertainty includes {part:.2g} per hour for this. Keep" in note["humidity_change"].text


def test_steady_humidity_widens_nothing_and_neither_does_a_log_without_it():
    alone, held = widened(2.0, np.full(TIME_S.size, 55.0))
    assert held.fit.decay_rate == alone.fit.decay_rate
    assert with_humidity_uncertainty(TIME_S, {"pm2_5": curve()}, {"pm2_5": alone})["pm2_5"] == alone


def test_humidity_that_decides_a_slow_rate_makes_it_unusable():
    humidity = np.linspace(35.0, 69.0, TIME_S.size)
    note = notes_for("pm2_5", {"pm2_5": curve(0.6), "relative_humidity": humidity})["humidity_change"]
    assert note.severity == "unusable"


def test_falling_humidity_makes_a_rate_too_high():
    humidity = np.linspace(65.0, 40.0, TIME_S.size)
    note = notes_for("pm2_5", {"pm2_5": curve(), "relative_humidity": humidity})["humidity_change"]
    assert "fell from" in note.message
    assert "too high by about" in note.message


def test_steady_humidity_and_other_channels_are_left_alone():
    humidity = np.linspace(45.0, 49.0, TIME_S.size)
    assert "humidity_change" not in notes_for("pm2_5", {"pm2_5": curve(), "relative_humidity": humidity})
    rising = np.linspace(30.0, 80.0, TIME_S.size)
    assert "humidity_change" not in notes_for("co2", {"co2": curve(), "relative_humidity": rising})


def test_a_change_of_temperature_is_told():
    temperature = np.linspace(20.0, 28.0, TIME_S.size)
    note = notes_for("pm2_5", {"pm2_5": curve(), "temperature": temperature})["temperature_change"]
    assert "The temperature changed by +" in note.message
    steady = np.full(TIME_S.size, 21.0)
    assert "temperature_change" not in notes_for("pm2_5", {"pm2_5": curve(), "temperature": steady})


def test_weak_channels_carry_their_caution():
    assert "weak evidence" in notes_for("pm10", {"pm10": curve()})["pm10_is_weak"].message
    assert "indicative only" in notes_for("voc", {"voc": curve()})["voc_is_indicative"].message


def test_channels_of_another_length_are_refused():
    with pytest.raises(ValueError, match="There are 360 times and 3 levels of temperature; each needs both"):
        cross_channel_notes(TIME_S, {"pm2_5": curve(), "temperature": [1.0, 2.0, 3.0]}, {"pm2_5": decay_of(curve())})


@pytest.mark.parametrize(
    ("humidity", "factor"), [(20, 1.102857), (30, 1.102857), (40, 1.16), (50, 1.24), (60, 1.36), (70, 1.56), (80, 1.56)]
)
def test_the_correction_of_2022_is_reproduced(humidity, factor):
    """Nilson et al., Atmos. Meas. Tech. 15, 3315, 2022: formula and clamp read, figures recomputed."""
    assert reading_over_dry(humidity) == pytest.approx(factor, abs=1e-6)


@pytest.mark.parametrize(
    ("kappa", "humidity", "growth"),
    [(0.61, 40, 1.120462), (0.61, 90, 1.865298), (1.28, 60, 1.429314), (0.4, 80, 1.375069)],
)
def test_diameters_grow_as_the_formula_says(kappa, humidity, growth):
    """Petters and Kreidenweis, Atmos. Chem. Phys. 7, 1961, 2007: formula read, figures recomputed; κ from memory."""
    assert diameter_growth(humidity, kappa) == pytest.approx(growth, abs=2e-3 if kappa == 0.4 else 1e-6)


def test_a_humidity_beyond_the_formula_is_refused():
    with pytest.raises(ValueError, match="The relative humidity is 100 %; it must be from 0 to below 100 %"):
        diameter_growth(100, 0.3)


def test_dry_air_adds_no_mass():
    assert mass_growth(0.0, 0.5) == 1.0


def test_a_bias_put_into_a_curve_is_the_bias_told():
    """The readings of a true decay of 2 per hour are multiplied by the factor of the humidity at each moment."""
    humidity = np.linspace(40.0, 65.0, TIME_S.size)
    factor = np.array([reading_over_dry(h) for h in humidity])
    read = 300 * np.exp(-2 * TIME_S / 3600) * factor
    marks = Marks(unit_on_h=0.0, background_level=0.0)
    fit = analyse_decay(TIME_S, read, channel="pm2_5", unit="µg/m³", marks=marks).fit
    bias = humidity_bias(TIME_S / 3600, humidity, fit.window_start_h, fit.window_end_h)
    assert fit.decay_rate.value < 1.85
    assert bias.rate_bias_per_h == pytest.approx(2.0 - fit.decay_rate.value, rel=0.2)


def test_too_few_humidity_readings_say_nothing():
    assert humidity_bias(TIME_S / 3600, np.full(TIME_S.size, np.nan), 0.0, 1.0) is None
    assert humidity_bias(TIME_S / 3600, np.full(TIME_S.size, 50.0), 1.0, 1.0) is None
