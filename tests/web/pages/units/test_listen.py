from io import BytesIO

import numpy as np
import pytest
import soundfile

from app.services.measurements.definitions import NewClip
from app.services.measurements.sound_clips import add_clip
from app.storage.engine import session_scope
from tests.sample_data.measured_facts import DAY
from tests.sample_data.sound_files import noise, sound_bytes


@pytest.fixture
def clips(store, small_bench):
    """A quiet and a loud calibrated clip, and one without calibration; returns the ids."""
    ids = small_bench

    def add(session, setting_id, seed, known, name):
        new = NewClip(
            content=sound_bytes(noise(0.05, seed=seed)),
            file_name=name,
            recorded_on=DAY,
            distance_m=1.0,
            known_level_dba=known,
        )
        return add_clip(session, ids.unit_id, setting_id, new)

    with session_scope(store) as session:
        return (
            add(session, ids.low_setting_id, 1, 36.0, "low.wav"),
            add(session, ids.high_setting_id, 2, 56.0, "high.wav"),
            add(session, ids.high_setting_id, 3, None, "unknown.wav"),
        )


def addresses(page):
    return [
        part.split('"')[0].replace("&amp;", "&")
        for part in page.text.split('<audio controls preload="none" loop src="')[1:]
    ]


def test_an_empty_bench_says_what_to_do_first(client):
    page = client.get("/listen").text
    assert "There are no units yet" in page
    assert 'href="/trials/add"' in page


def test_a_bench_without_recordings_says_what_to_do_first(client, small_bench):
    assert "There are no recordings yet" in client.get("/listen").text


def test_chosen_clips_play_at_their_true_relative_loudness(client, clips):
    quiet, loud, _ = clips
    page = client.get(f"/listen?clip={quiet}&clip={loud}")
    assert page.status_code == 200
    assert "Maker A Model 1, low, 36\u00a0dB(A), to Maker A Model 1, high, 56\u00a0dB(A)" in page.text
    spreads = []
    for address in addresses(page):
        answer = client.get(address)
        assert answer.headers["content-type"] == "audio/wav"
        samples, _ = soundfile.read(BytesIO(answer.content))
        spreads.append(np.std(samples))
    assert 20 * np.log10(spreads[1] / spreads[0]) == pytest.approx(20.0, abs=0.05)


def test_there_is_one_volume_a_caution_and_a_spectrum(client, clips):
    quiet, loud, _ = clips
    page = client.get(f"/listen?clip={quiet}&clip={loud}").text
    assert page.count('type="range"') == 1
    assert "Start with your volume low" in page
    assert f'data-figure-url="/figures/sound-spectra.json?clip={quiet}&amp;clip={loud}"' in page
    assert "20\u00a0dB quieter than the loudest of these" in page
    figure = client.get(f"/figures/sound-spectra.json?clip={quiet}&clip={loud}").json()
    assert "Maker A Model 1, low 36 dB(A)" in figure["meta"]["alt_text"]


def test_unasked_the_loudest_clip_of_each_unit_is_shown(client, clips):
    page = client.get("/listen")
    assert len(addresses(page)) == 1
    assert "1 clip is not calibrated" in page.text


def test_a_clip_without_calibration_cannot_be_set_beside_others(client, clips):
    page = client.get(f"/listen?clip={clips[2]}")
    assert page.status_code == 422
    assert "is not calibrated, so its relative loudness is not known" in page.text


def test_unknown_and_too_many_clips_are_told(client, clips):
    assert "There is no sound clip 99" in client.get("/listen?clip=99").text
    assert (
        "9 clips were selected; at most 8" in client.get("/listen?" + "&".join(f"clip={n}" for n in range(1, 10))).text
    )


def test_a_player_may_take_the_sound_in_parts(client, clips):
    address = f"/listen/{clips[0]}.wav?pa=1"
    part = client.get(address, headers={"Range": "bytes=0-43"})
    assert part.status_code == 206
    assert part.content[:4] == b"RIFF"
    assert len(part.content) == 44


def test_the_sound_needs_its_pressure(client, clips):
    answer = client.get(f"/listen/{clips[0]}.wav", headers={"Accept": "application/json"})
    assert answer.status_code == 422
    assert "needs the pressure at full scale; add ?pa=" in answer.text
    assert client.get(f"/listen/{clips[0]}.wav?pa=0").status_code == 422
    assert client.get("/listen/77.wav?pa=1").status_code == 404
