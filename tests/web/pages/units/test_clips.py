import numpy as np
import pytest
from sqlalchemy import select

from app.storage.engine import session_scope
from app.storage.models.sound_clips import SoundClip
from tests.sample_data.sound_files import noise, sound_bytes, tone

WAV = sound_bytes(noise())


def send(client, ids, files=None, **fields):
    values = {"setting": str(ids.high_setting_id), "distance_m": "1", "channel": "1", "recorded_on": "2026-02-03"}
    sent = {"clip": ("fan.wav", WAV, "audio/wav")} if files is None else files
    return client.post(f"/units/{ids.unit_id}/clips", data=values | fields, files=sent)


def stored(store):
    with session_scope(store) as session:
        return session.scalars(select(SoundClip)).all()


def test_the_form_is_offered(client, small_bench):
    page = client.get(f"/units/{small_bench.unit_id}/clips")
    assert page.status_code == 200
    assert "No recordings yet." in page.text
    assert 'name="tone_level_db" type="text" value="94"' in page.text
    assert "can damage hearing" in page.text


def test_a_clip_is_stored_analysed_and_shown(client, small_bench, store):
    answer = send(client, small_bench, known_level_dba="45,5", who="Ada", instrument="recorder")
    assert (answer.status_code, answer.headers["location"]) == (303, f"/units/{small_bench.unit_id}/clips")
    clip = stored(store)[0]
    assert (clip.equivalent_level_dba, clip.recorded_by) == (pytest.approx(45.5), "Ada")
    page = client.get(f"/units/{small_bench.unit_id}/clips").text
    assert "45.5\u00a0dB(A) read beside the microphone" in page
    assert "no prominent tone (prominence ratio, ECMA-418-1)" in page
    assert f'href="/listen?clip={clip.id}"' in page


def test_a_calibration_tone_comes_as_a_second_file(client, small_bench, store):
    files = {
        "clip": ("fan.wav", WAV, "audio/wav"),
        "tone": ("cal.wav", sound_bytes(tone()), "audio/wav"),
    }
    assert send(client, small_bench, files, tone_level_db="94").status_code == 303
    assert stored(store)[0].calibration_kind == "tone"
    assert "a tone of 94\u00a0dB at 1000\u00a0Hz" in client.get(f"/units/{small_bench.unit_id}/clips").text


def test_without_calibration_no_level_is_shown(client, small_bench):
    send(client, small_bench)
    page = client.get(f"/units/{small_bench.unit_id}/clips").text
    assert "none, so no level can be given" in page
    assert "Equivalent level" not in page


def test_a_prominent_tone_is_told(client, small_bench):
    files = {"clip": ("fan.wav", sound_bytes(noise() + tone(2000.0)), "audio/wav")}
    send(client, small_bench, files, known_level_dba="50")
    assert "prominent at 2000\u00a0Hz" in client.get(f"/units/{small_bench.unit_id}/clips").text


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"setting": ""}, "No setting selected. Every recording needs a setting."),
        ({"distance_m": ""}, "The distance is missing"),
        ({"distance_m": "near"}, "The distance: found &#39;near&#39;"),
        ({"known_level_dba": "7"}, "The known level is 7 dB(A)"),
        ({"channel": "4"}, "fan.wav has 1 channels; there is no channel 4"),
        ({"channel": "0"}, "The channel is 0; enter a whole number above zero"),
        ({"recorded_on": ""}, "The clip has no date"),
    ],
)
def test_mistakes_are_told_and_nothing_is_stored(client, small_bench, store, fields, message):
    answer = send(client, small_bench, **fields)
    assert answer.status_code == 422
    assert message in answer.text
    assert stored(store) == []


def test_no_file_and_no_sound_are_told(client, small_bench, store):
    assert "No file selected. Choose" in send(client, small_bench, {}).text
    letter = {"clip": ("letter.txt", b"dear", "text/plain")}
    assert "letter.txt cannot be read as audio. Choose" in send(client, small_bench, letter).text
    assert stored(store) == []


def test_a_clip_is_taken_back_with_a_reason(client, small_bench, store):
    send(client, small_bench)
    clip_id = stored(store)[0].id
    address = f"/units/{small_bench.unit_id}/clips/{clip_id}/take-back"
    assert client.post(address, data={"why": ""}).status_code == 422
    assert len(stored(store)) == 1
    assert client.post(address, data={"why": "wrong speed"}).status_code == 303
    assert stored(store) == []


def test_harmful_names_stay_words(client, small_bench):
    files = {"clip": ("<script>alert(1)</script>.wav", sound_bytes(np.clip(tone(rms=1.0), -1, 1)), "audio/wav")}
    send(client, small_bench, files)
    page = client.get(f"/units/{small_bench.unit_id}/clips").text
    assert "<script>alert" not in page
    assert "the recording is clipped" in page
