"""Phase and advice of a live run: each sentence against the numbers that it states."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from app.compute.decay.analysis import analyse_decay
from app.compute.decay.result import ChannelDecay, Marks
from app.compute.live_runs.advice import (
    SILENT_AT_LEAST_S,
    LiveFacts,
    Tapped,
    advice_on,
    percent_text,
    phase_of,
    summary_of,
)
from app.compute.live_runs.precision import STOP_AT, Precision, precision_of
from app.compute.statistics.measured import Measured
from app.compute.wording.numbers import level_text, measured_text

BEFORE_MIN = 13.0  # ten of background and three of smoke


def decay_of(minutes: float, *, rate: float = 3.0, noise: float = 0.02, seed: int = 3) -> ChannelDecay:
    """Analysis of so many minutes of decay of 400 µg/m³ over 5 µg/m³, a reading every 10 s, unit on marked."""
    rng = np.random.default_rng(seed)
    minute = np.arange(0.0, BEFORE_MIN + minutes + 1e-9, 1 / 6)
    decayed = np.exp(-rate * np.maximum(minute - BEFORE_MIN, 0.0) / 60)
    level = 5 + 400 * decayed * np.clip((minute - 10.0) / 3.0, 0.0, 1.0)
    read = level * (1 + noise * rng.standard_normal(minute.size))
    marks = Marks(unit_on_h=BEFORE_MIN / 60)
    return analyse_decay(60 * minute, read, channel="pm2_5", unit="µg/m³", marks=marks)


def facts(**more: Any) -> LiveFacts:
    given = {
        "phase": "decay",
        "empty_room": False,
        "unit": "µg/m³",
        "level": 212.0,
        "reference_level": 10.0,
        "silent_s": 4.0,
        "interval_s": 10.0,
        "decay": None,
        "precision": None,
        "humidity_pct": None,
    }
    return LiveFacts(**given | more)


def messages(found: LiveFacts) -> dict[str, str]:
    return {each.code: each.message for each in advice_on(found)}


@pytest.mark.parametrize(
    ("tapped", "empty_room", "readings", "phase"),
    [
        ({}, False, 0, "waiting"),
        ({}, False, 3, "background"),
        ({"smoke_lit": True}, False, 3, "smoke"),
        ({"smoke_lit": True, "fan_off": True}, False, 3, "mixed"),
        ({"smoke_lit": True, "fan_off": True}, True, 3, "decay"),
        ({"unit_on": True}, False, 3, "decay"),
        ({"unit_on": True, "unit_off": True}, False, 3, "over"),
    ],
)
def test_the_phase_follows_from_the_events(tapped: dict[str, bool], empty_room: bool, readings: int, phase: str):
    assert phase_of(Tapped(**tapped), empty_room=empty_room, readings=readings) == phase


def test_the_precision_is_stated_with_what_more_minutes_give():
    found = messages(facts(precision=Precision(0.03, True, 12, 0.02), decay=decay_of(30.0)))
    assert found["rate_known"] == "Rate known to ±3 %; 12 more minutes give about ±2 %."
    one = messages(facts(precision=Precision(0.201, True, 1, 0.15), decay=decay_of(30.0)))
    assert one["rate_known"] == "Rate known to ±21 %; 1 more minute gives about ±15 %."
    end = messages(facts(precision=Precision(0.012, True), decay=decay_of(30.0)))
    assert end["rate_known"] == "Rate known to ±1.2 %."
    early = messages(facts(precision=Precision(0.4, False), decay=decay_of(30.0)))
    assert early["rate_known"] == "Rate known to ±40 % so far, with the notes below."


@pytest.mark.parametrize(("half_width", "may_stop"), [(STOP_AT, True), (STOP_AT + 1e-6, False), (0.2, False)])
def test_a_run_may_be_stopped_by_its_width_alone(half_width: float, may_stop: bool):
    for decay in (decay_of(30.0), decay_of(30.0, rate=0.5), decay_of(12.0, rate=9.0)):
        found = messages(facts(precision=Precision(half_width, True), decay=decay))
        assert ("may_stop" in found) is may_stop
        if may_stop:
            assert found["may_stop"] == "The interval is within ±5 % of the rate; you may end the run."


def test_a_percentage_never_claims_too_much():
    for share in np.linspace(0.001, 0.6, 400).tolist():
        assert 100 * share <= float(percent_text(share)) + 1e-9
        assert float(percent_text(share)) <= 100 * share * 1.11 + 0.1


@pytest.mark.parametrize(
    ("silent_s", "interval_s", "words"),
    [
        (40.0, 10.0, "Logger silent for 40 s; it usually sends one every 10 s. Check its power"),
        (600.0, 60.0, "Logger silent for 10 min; it usually sends one every 60 s. Check its power"),
        (29.9, 10.0, ""),
        (SILENT_AT_LEAST_S, 1.0, ""),
        (170.0, 60.0, ""),
    ],
)
def test_a_silent_logger_is_noticed_after_three_of_its_readings(silent_s: float, interval_s: float, words: str):
    found = messages(facts(silent_s=silent_s, interval_s=interval_s))
    assert found.get("logger_silent", "").startswith(words) if words else "logger_silent" not in found


def test_a_level_too_low_to_begin_names_the_level_needed():
    low = messages(facts(phase="smoke", level=43.2))
    assert low["level_too_low"] == "Level too low to begin: 43.2 µg/m³; wait for at least 100 µg/m³."
    high = messages(facts(phase="mixed", level=100.0))
    assert high["level_high_enough"].startswith("Level high enough to begin: 100 µg/m³, at least 100 µg/m³ was needed;")
    assert "level_too_low" not in messages(facts(phase="decay", level=43.2))


@pytest.mark.parametrize(
    ("humidity", "words"),
    [
        ((40.0, 47.0), "Humidity rising: from 40 to 47 % since the decay began."),
        ((47.0, 40.0), "Humidity falling: from 47 to 40 % since the decay began."),
        ((40.0, 44.9), ""),
        (None, ""),
    ],
)
def test_a_change_of_humidity_is_stated(humidity: tuple[float, float] | None, words: str):
    found = [each.message for each in advice_on(facts(humidity_pct=humidity)) if each.code.startswith("humidity")]
    assert [message[: len(words)] for message in found] == ([words] if words else [])


def test_a_decay_without_its_mark_is_noticed():
    decay = decay_of(20.0)
    found = messages(facts(phase="smoke", decay=decay, level=500.0))
    falling = round(60 * (decay.end_h - (decay.peak_h or 0.0)))
    assert found["not_marked"] == (
        f"The level has been falling for {falling} min. If the decay has begun, tap “Unit on”."
    )
    assert "not_marked" not in messages(facts(phase="decay", decay=decay))


def test_no_readings_are_the_only_advice():
    assert list(messages(facts(level=None, silent_s=900.0))) == ["no_readings"]


def test_the_summary_states_the_numbers_of_the_fit():
    decay = decay_of(40.0)
    precision = precision_of(decay)
    rate = decay.fit.decay_rate if decay.fit else None
    assert rate is not None
    found = facts(decay=decay, precision=precision, level=decay.end_level)
    words = summary_of(found, 40.0, Measured(22.3, 1.5))
    text = measured_text(rate.value, rate.uncertainty, rate.low_95, rate.high_95).with_interval
    level = level_text(decay.end_level, "µg/m³")
    assert words == (
        f"Decay for 40 min: {level}; decay rate {text} per hour; clear level of 10 µg/m³ in about 22 min (19 to 25)."
    )
    assert float(text.split()[0]) == pytest.approx(rate.value, rel=1e-3)
    assert summary_of(found, 40.0, None, is_clear=True).endswith("; clear level of 10 µg/m³ reached.")
    vague = replace(found, precision=Precision(0.31, True))
    assert "clear level" not in summary_of(vague, 40.0, Measured(22.3, 9.0))
    assert summary_of(replace(found, phase="waiting", level=None), None, None) == "Waiting for readings."
    before = replace(found, phase="smoke", level=50.0)
    assert summary_of(before, None, None) == "Smoke rises and mixes: 50 µg/m³."


def test_what_the_analysis_notes_is_part_of_the_advice():
    decay = decay_of(6.0, rate=0.3)
    noted = {note.code for note in decay.notes if note.severity != "fine"}
    assert noted
    assert noted <= messages(facts(decay=decay, precision=Precision(0.5, False))).keys()
