import pytest

from app.errors import InvalidValue, NotFound
from app.services.measurements.definitions import NewClip
from app.services.measurements.listening import listening
from app.services.measurements.sound_clips import add_clip
from app.storage.models.units_under_test import UnitUnderTest
from tests.sample_data.measured_facts import DAY, NOW, add_unit_with_setting
from tests.sample_data.sound_files import noise, sound_bytes


def add(session, unit_id, setting_id, known, seed):
    new = NewClip(
        content=sound_bytes(noise(0.05, seed=seed)),
        file_name=f"{seed}.wav",
        recorded_on=DAY,
        distance_m=1.0,
        known_level_dba=known,
    )
    return add_clip(session, unit_id, setting_id, new)


@pytest.fixture
def clips(session, small_bench):
    ids = small_bench
    other, other_setting = add_unit_with_setting(session, "Other")
    return (
        add(session, ids.unit_id, ids.low_setting_id, 35.0, 1),
        add(session, ids.unit_id, ids.high_setting_id, 50.0, 2),
        add(session, other, other_setting, 44.0, 3),
        add(session, other, other_setting, None, 4),
    )


def test_unasked_the_loudest_calibrated_clip_of_each_unit_is_chosen_the_quietest_first(session, clips):
    found = listening(session)
    assert [entry.clip.id for entry in found.chosen] == [clips[2], clips[1]]
    assert found.chosen[0].name == "Maker B Other, high"
    assert found.not_calibrated == 1
    assert len(found.clips) == 4


def test_full_scale_holds_the_loudest_of_those_chosen(session, clips):
    quiet, both = listening(session, [clips[0]]), listening(session, [clips[0], clips[1]])
    assert both.full_scale_pa > 5 * quiet.full_scale_pa


def test_a_unit_in_the_trash_is_not_heard(session, clips, small_bench):
    session.get(UnitUnderTest, small_bench.unit_id).trashed_at = NOW
    session.flush()
    assert [entry.model for entry in listening(session).clips] == ["Other", "Other"]


def test_an_empty_bench_has_no_clips(session):
    found = listening(session)
    assert (found.clips, found.chosen, found.full_scale_pa) == ((), (), 0.0)


def test_clips_that_cannot_be_set_side_by_side_are_refused(session, clips):
    with pytest.raises(InvalidValue, match=f"Clip {clips[3]} is not calibrated"):
        listening(session, [clips[3]])
    with pytest.raises(NotFound, match="There is no sound clip 99"):
        listening(session, [99])
    with pytest.raises(InvalidValue, match=r"9 clips were selected; at most 8 can be compared. Remove some"):
        listening(session, range(1, 10))
