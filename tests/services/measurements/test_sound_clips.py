from io import BytesIO

import numpy as np
import pytest
import soundfile
from sqlalchemy import select

from app.errors import AlreadyStored, InvalidValue, NotFound
from app.services.measurements.definitions import NewClip
from app.services.measurements.sound_clips import (
    add_clip,
    clips_of_unit,
    delete_clip,
    get_clip,
    loudest_peak_pa,
    playable,
)
from app.services.store.audit import changes_of
from app.services.units.entry import SUBJECT
from app.storage.models.logs import RawFile
from tests.sample_data.measured_facts import DAY
from tests.sample_data.sound_files import RATE, noise, sound_bytes, tone


def clip(samples=None, **fields):
    content = sound_bytes(noise() if samples is None else samples)
    return NewClip(**({"content": content, "file_name": "fan.wav", "recorded_on": DAY, "distance_m": 1.0} | fields))


def add(session, ids, new=None, setting_id=None):
    return add_clip(session, ids.unit_id, setting_id or ids.high_setting_id, new or clip(known_level_dba=45.0))


def test_a_clip_is_kept_byte_for_byte_with_its_results(session, small_bench):
    new = clip(known_level_dba=45.0)
    stored = get_clip(session, add(session, small_bench, new))
    assert stored.equivalent_level_dba == pytest.approx(45.0)
    assert stored.calibration_kind == "known level"
    assert session.get(RawFile, stored.sha256).content == new.content
    assert len(stored.bands) == 33
    assert stored.bands[0].nominal_hz == 12.5
    assert "No hum" in stored.character_words
    assert stored.cautions == ""
    assert [row.id for row in clips_of_unit(session, small_bench.unit_id)] == [stored.id]


def test_a_calibration_tone_gives_the_level(session, small_bench):
    gain = 0.05 / 1.0024  # 94 dB are 1.0024 Pa
    new = clip(
        gain * noise(0.02), tone_content=sound_bytes(tone(rms=0.05)), tone_file_name="cal.wav", tone_level_db=94.0
    )
    stored = get_clip(session, add(session, small_bench, new))
    assert stored.pascal_per_unit == pytest.approx(1 / gain, rel=1e-3)
    assert stored.calibration_tone_hz == 1000.0
    assert session.get(RawFile, stored.calibration_sha256).content == new.tone_content


def test_without_calibration_the_level_is_relative_and_it_cannot_be_played_beside_others(session, small_bench):
    stored = get_clip(session, add(session, small_bench, clip()))
    assert stored.calibration_kind == "none"
    assert "cannot be compared with another clip" in stored.cautions
    with pytest.raises(InvalidValue, match="is not calibrated, so its relative loudness is not known"):
        playable(session, stored.id, 1.0)
    assert "dB re full scale" in changes_of(session, SUBJECT, small_bench.unit_id)[0].after


def test_flac_and_a_chosen_channel_are_read(session, small_bench):
    both = np.stack([np.zeros(4 * RATE), noise()], axis=1)
    new = clip(content=sound_bytes(both, file_format="FLAC"), file_name="fan.flac", channel=2, known_level_dba=40.0)
    stored = get_clip(session, add(session, small_bench, new))
    assert stored.equivalent_level_dba == pytest.approx(40.0)
    assert stored.channel == 2


def test_clips_play_at_their_true_relative_loudness(session, small_bench):
    quiet = add(session, small_bench, clip(noise(0.2), known_level_dba=40.0), small_bench.low_setting_id)
    loud = add(session, small_bench, clip(noise(0.05, seed=2), known_level_dba=60.0))
    full_scale = loudest_peak_pa(clips_of_unit(session, small_bench.unit_id))
    played = {}
    for clip_id in (quiet, loud):
        samples, rate = soundfile.read(BytesIO(playable(session, clip_id, full_scale)))
        assert rate == RATE
        played[clip_id] = samples
    ratio_db = 20 * np.log10(np.std(played[loud]) / np.std(played[quiet]))
    assert ratio_db == pytest.approx(20.0, abs=0.05)
    assert 0.9 < np.abs(played[loud]).max() < 1.0


def test_tones_are_kept_the_most_prominent_first(session, small_bench):
    stored = get_clip(session, add(session, small_bench, clip(noise() + tone(2000.0), known_level_dba=50.0)))
    assert (stored.tones[0].rank, round(stored.tones[0].frequency_hz), stored.tones[0].prominent) == (1, 2000, True)
    assert stored.tone_method == "prominence ratio, ECMA-418-1"


def test_a_pure_tone_is_kept_with_a_finite_ratio(session, small_bench):
    stored = get_clip(session, add(session, small_bench, clip(tone(2000.0), known_level_dba=50.0)))
    assert stored.tones[0].prominence_ratio_db <= 200.0


def test_an_overloaded_clip_is_kept_and_said_to_be_unusable(session, small_bench):
    stored = get_clip(session, add(session, small_bench, clip(np.clip(tone(rms=1.0), -1, 1))))
    assert stored.overloaded
    assert "recording is clipped" in stored.cautions


def test_the_same_file_is_not_stored_twice_for_a_setting(session, small_bench):
    add(session, small_bench)
    with pytest.raises(AlreadyStored, match=r"fan.wav is already saved for setting high"):
        add(session, small_bench)
    add(session, small_bench, setting_id=small_bench.low_setting_id)
    assert len(session.scalars(select(RawFile)).all()) == 1


def test_taking_back_keeps_the_file_and_the_record(session, small_bench):
    clip_id = add(session, small_bench)
    delete_clip(session, clip_id, who="Ada", why="wrong speed")
    assert clips_of_unit(session, small_bench.unit_id) == []
    assert len(session.scalars(select(RawFile)).all()) == 1
    taken = changes_of(session, SUBJECT, small_bench.unit_id)[0]
    assert taken.action == "taken back"
    short, whole = taken.before.split("\n")
    assert short == "high, fan.wav, 45.0 dB(A), on 2026-02-03"
    (sha256,) = session.scalars(select(RawFile.sha256)).all()
    assert whole.startswith(f"raw file (SHA-256): {sha256}; file name: fan.wav; channel: 1; recorded on: 2026-02-03; ")
    with pytest.raises(NotFound, match=f"There is no sound clip {clip_id}"):
        delete_clip(session, clip_id, why="again")


@pytest.mark.parametrize(
    ("fields", "field", "message"),
    [
        ({"content": b"not sound"}, "clip", r"fan.wav cannot be read as audio. Choose a WAV or FLAC"),
        ({"channel": 2}, "clip", r"fan.wav has 1 channels; there is no channel 2"),
        ({"distance_m": None}, "distance_m", "The distance is missing"),
        ({"recorded_on": None}, "recorded_on", "The clip has no date"),
        ({"known_level_dba": 5.0}, "known_level_dba", r"The known level is 5 dB\(A\); enter a number from 20 to 140"),
        (
            {"tone_content": b"x", "tone_level_db": None},
            "tone_level_db",
            "The calibrator level is missing; enter the level of the recorded tone",
        ),
        ({"tone_content": b"x", "tone_level_db": 94.0}, "tone", "calibration tone cannot be read as audio. Choose"),
        ({"tone_content": b"x", "known_level_dba": 40.0}, "known_level_dba", "given. Remove one"),
    ],
)
def test_impossible_clips_are_refused_with_their_field(session, small_bench, fields, field, message):
    with pytest.raises(InvalidValue, match=message) as refused:
        add(session, small_bench, clip(**fields))
    assert refused.value.field == field


def test_files_that_leave_sound_out_are_refused(session, small_bench):
    ogg = sound_bytes(noise(), file_format="OGG", subtype="VORBIS")
    with pytest.raises(InvalidValue, match=r"fan.wav is a OGG file; use WAV or FLAC"):
        add(session, small_bench, clip(content=ogg))


def test_clips_that_are_too_short_long_or_slow_are_refused(session, small_bench):
    with pytest.raises(InvalidValue, match=r"fan.wav: The clip lasts 1.00 s; a spectrum needs 3 s or more"):
        add(session, small_bench, clip(noise(seconds=1)))
    with pytest.raises(InvalidValue, match=r"lasts 200 s with 1 channels; at most 180 s"):
        add(session, small_bench, clip(content=sound_bytes(np.zeros(200 * 8000), rate=8000)))
    with pytest.raises(InvalidValue, match="has 4000 samples per second; 8000 to 192000 are allowed"):
        add(session, small_bench, clip(content=sound_bytes(np.zeros(20_000), rate=4000)))


def test_a_damaged_file_is_refused(session, small_bench):
    flac = sound_bytes(noise(), file_format="FLAC")
    with pytest.raises(InvalidValue, match=r"is damaged|ends after|cannot be read as audio"):
        add(session, small_bench, clip(content=flac[: len(flac) // 2]))


def test_a_noisy_calibration_is_refused_with_the_name_of_its_file(session, small_bench):
    new = clip(tone_content=sound_bytes(noise()), tone_file_name="cal.wav", tone_level_db=94.0)
    with pytest.raises(InvalidValue, match=r"cal.wav: The strongest tone, at \d+ Hz, holds \d+ % of the power"):
        add(session, small_bench, new)


def test_a_silent_clip_cannot_take_a_known_level(session, small_bench):
    with pytest.raises(InvalidValue, match=r"fan.wav: The clip is silent"):
        add(session, small_bench, clip(np.zeros(4 * RATE), known_level_dba=40.0))


def test_full_scale_has_to_be_a_pressure(session, small_bench):
    clip_id = add(session, small_bench)
    with pytest.raises(InvalidValue, match=r"Full scale is 0.0 Pa; it must be above zero"):
        playable(session, clip_id, 0.0)
    with pytest.raises(NotFound, match="There is no sound clip 99"):
        playable(session, 99, 1.0)
