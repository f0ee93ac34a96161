"""The decay analysis on real logs of other people, against rates recomputed independently of this project.

None of the sources prints a rate. The answers were recomputed with scipy's `curve_fit` of b + A exp(-k t) on the same
readings; its intervals take the residuals for independent, which they are not, so that ours are wider. Sources and
licences of the extracts: tests/data/README.md.
"""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from app.compute.decay.analysis import analyse_decay
from app.compute.decay.result import Marks
from app.reading_files.log_table import LogTable, ReadingChoices
from app.reading_files.read_log import read_log

LOGS = Path(__file__).resolve().parents[1] / "data" / "logs"


def _log(name: str, **choices: object) -> LogTable:
    return read_log((LOGS / name).read_bytes(), Path(name).name, ReadingChoices(timezone="UTC", **choices))


def _hours(log: LogTable, *moment: int) -> float:
    return (datetime(*moment, tzinfo=UTC) - log.started_at).total_seconds() / 3600


@pytest.mark.parametrize(
    ("channel", "factor", "offset", "rate", "background"),
    [("co2", 1.153, 34.763, 2.96, 152.0), ("co2_b", 1.0, 0.0, 3.07, 461.0)],
)
def test_a_tracer_gas_step_down_gives_the_recomputed_rate_and_background(channel, factor, offset, rate, background):
    """CO2 step-down with two sensors, the authors' calibration, 14:00 to 14:59 (MIT). Recomputed: 2.96 and 3.07 per h
    over backgrounds of 152 and 461 ppm; taking the last reading for the background gives 4.2 and 4.1 per h."""
    log = _log("measured/tracer_co2_step_down_2sensors.csv")
    from_here = _hours(log, 2024, 10, 7, 14, 0)
    marks = Marks(unit_on_h=from_here, fit_start_h=from_here)
    fit = analyse_decay(
        log.elapsed_s, log.levels[channel] * factor + offset, channel=channel, unit="ppm", marks=marks
    ).fit
    assert fit.decay_rate.low_95 <= rate <= fit.decay_rate.high_95
    assert fit.decay_rate.value == pytest.approx(rate, rel=0.04)
    assert fit.background.value == pytest.approx(background, abs=15.0)
    assert fit.decay_rate.high_95 < 4.0


@pytest.mark.parametrize(
    ("fit_start", "fit_end", "rate"), [((14, 55, 4), (15, 25), 12.45), ((14, 57, 4), (15, 24), 10.54)]
)
def test_a_release_over_a_high_background_gives_the_recomputed_rate(fit_start, fit_end, rate):
    """Mobility sizer, total number per cm³ (MIT). Recomputed with background 12.45 per h from the peak on and 10.54
    from two minutes later; ignoring the background gives 3.9 per h. It is not one exponential, and that is said."""
    log = _log("measured/decay_room_release_mobility_sizer_1min.csv")
    marks = Marks(
        unit_on_h=_hours(log, 2023, 9, 11, 14, 55, 4),
        fit_start_h=_hours(log, 2023, 9, 11, *fit_start),
        fit_end_h=_hours(log, 2023, 9, 11, *fit_end),
    )
    decay = analyse_decay(log.elapsed_s, log.levels["count_total"], channel="count_total", unit="1/cm³", marks=marks)
    assert decay.fit.decay_rate.low_95 <= rate <= decay.fit.decay_rate.high_95
    assert decay.fit.decay_rate.value == pytest.approx(rate, rel=0.06)
    assert decay.fit.decay_rate.low_95 > 3.9
    assert "not_one_exponential" in {note.code for note in decay.notes}


@pytest.mark.parametrize("box", ["unit01", "unit02"])
def test_the_natural_decay_of_a_workshop_holds_the_median_of_its_boxes(box):
    """Dust in a closed workshop at night, no cleaner (CC0). Recomputed for 17 boxes: median 0.45 per h (quartiles 0.44
    to 0.46) over a background of 2.4 µg/m³; without a background 0.057 per h."""
    log = _log("measured/decay_workshop_dust_two_sensors.csv", box=box)
    start, end = _hours(log, 2017, 6, 7, 17, 45), _hours(log, 2017, 6, 8, 4, 0)
    marks = Marks(unit_on_h=start, fit_start_h=start, fit_end_h=end, end_h=end)
    fit = analyse_decay(
        log.elapsed_s, log.levels["pm2_5_b"], channel="pm2_5_b", unit="µg/m³", marks=marks, empty_room=True
    ).fit
    assert fit.decay_rate.low_95 <= 0.45 <= fit.decay_rate.high_95
    assert fit.decay_rate.value > 4 * 0.057
    assert fit.background.value == pytest.approx(2.4, abs=1.0)


@pytest.mark.parametrize("box", ["unit01", "unit04"])
def test_a_decay_faster_than_the_sampling_is_said_and_not_used(box):
    """Filtered chamber, one row in five minutes, clean within 15 min (CC0): two or three readings above zero."""
    log = _log("measured/decay_filtered_chamber_two_sensors.csv", box=box)
    decay = analyse_decay(
        log.elapsed_s, log.levels["pm2_5_b"], channel="pm2_5_b", unit="µg/m³", marks=Marks(unit_on_h=0.0, end_h=95 / 60)
    )
    assert ("sampling_too_slow", "unusable") in {(note.code, note.severity) for note in decay.notes}
    assert not decay.usable


@pytest.mark.parametrize("box", ["unit01", "unit04"])
def test_a_channel_that_only_reads_zero_has_no_decay(box):
    """The whole-number sensor in the same chamber reads 0 from the first row on (CC0)."""
    log = _log("measured/decay_filtered_chamber_two_sensors.csv", box=box)
    decay = analyse_decay(
        log.elapsed_s, log.levels["pm2_5"], channel="pm2_5", unit="µg/m³", marks=Marks(unit_on_h=0.0, end_h=95 / 60)
    )
    assert decay.fit is None or decay.fit.decay_rate is None
    assert not decay.usable
