"""What moved between two lists of numbers, and the reasons."""

from dataclasses import replace

import pytest

from app.services.publishing.numbers.moved import moved_file, moved_numbers, moved_of_file
from app.services.publishing.numbers.published_number import PublishedNumber, by_key, numbers_file, numbers_of_file
from app.services.publishing.numbers.reasons import NO_CAUSE, Reasons
from app.storage.models.bench import Change
from tests.conftest import NOW

RATE = PublishedNumber(
    "unit/1/setting/2/rate", 1, None, "Maker A Model 1", "high", "Clean air delivery rate", "m³/h",
    162.12, 4.31, 153.4, 170.8, "", (3, 5), (("room", "Room A, 30 ± 0.5 m³"), ("repeatability", "5 % of 6 trials")),
    "1.2",
)  # fmt: skip


def _change(action: str, trial: int, field: str = "", why: str = "") -> Change:
    return Change(at=NOW, who="Ann", action=action, subject="trial", subject_id=trial, field=field, why=why)


def _why(after: PublishedNumber | None, before: PublishedNumber | None = RATE, **of: object) -> str:
    moved = moved_numbers(
        {} if before is None else {RATE.key: before}, {} if after is None else {RATE.key: after}, Reasons(**of)  # type: ignore[arg-type]
    )  # fmt: skip
    assert len(moved) == 1
    return moved[0].why


def test_what_differs_in_its_uncertainty_alone_is_told_apart_by_it():
    moved = moved_numbers({RATE.key: RATE}, {RATE.key: replace(RATE, uncertainty=4.36)}, Reasons())
    assert [(one.before, one.after) for one in moved] == [("162 (153 to 171), ± 4.3", "162 (153 to 171), ± 4.4")]


def test_the_same_numbers_move_nothing_whatever_they_are_based_on():
    same = replace(RATE, trials=(3, 5, 9), method_version="2")
    assert moved_numbers({RATE.key: RATE}, {RATE.key: same}, Reasons()) == ()


@pytest.mark.parametrize(
    ("after", "changes", "why"),
    [
        (replace(RATE, value=160.0, trials=(3, 5, 125)), {125: ["added"]}, "new trial 125"),
        (replace(RATE, value=160.0, trials=(3,)), {5: ["excluded"]}, "trial 5 excluded: a reason"),
        (replace(RATE, value=160.0, trials=(3,)), {5: ["trashed"]}, "trial 5 moved to the trash: a reason"),
        (replace(RATE, value=160.0, trials=(3, 5, 7)), {7: ["restored"]}, "trial 7 included again"),
        (replace(RATE, value=160.0), {3: ["changed"]}, "correction of trial 3: the mark “unit on” [min]"),
        (replace(RATE, value=160.0, method_version="2"), {}, "method 2 (was 1.2)"),
        (replace(RATE, value=160.0), {}, NO_CAUSE),
    ],
)
def test_the_reason_follows_from_the_sources_and_the_record(
    after: PublishedNumber, changes: dict[int, list[str]], why: str
):
    told = {trial: [_change(one, trial, "unit_on_s", "a reason") for one in ones] for trial, ones in changes.items()}
    assert _why(after, trials=told) == why


def test_a_volume_and_a_shared_spread_are_reasons():
    room = replace(RATE, value=160.0, based_on=(("room", "Room A, 31 ± 0.5 m³"), RATE.based_on[1]))
    assert _why(room) == "volume of the room: Room A, 31 ± 0.5 m³"
    spread = replace(RATE, value=160.0, based_on=(RATE.based_on[0], ("repeatability", "6 % from 7 trials")))
    told = {9: [_change("added", 9)]}
    assert _why(spread, trials=told) == "spread between repeats on the whole bench, with new trial 9"


def test_another_program_is_the_reason_where_nothing_else_is():
    assert _why(replace(RATE, value=160.0), program_before="1", program="2") == "program version 2 (was 1)"


def test_a_new_and_a_vanished_number_are_told_with_their_trials_alone():
    assert _why(RATE, None, trials={3: [_change("added", 3)], 5: [_change("added", 5)]}) == "new trial 3; new trial 5"
    assert _why(None, RATE, trials={3: [_change("trashed", 3)], 5: [_change("trashed", 5)]}).count("trash") == 2


def test_two_values_that_round_to_the_same_text_are_told_apart():
    moved = moved_numbers({RATE.key: RATE}, {RATE.key: replace(RATE, value=162.1249)}, Reasons())[0]
    assert (moved.before, moved.after) == ("162.120 (153.400 to 170.800)", "162.125 (153.400 to 170.800)")
    assert moved.from_to == "162.120 (153.400 to 170.800) → 162.125 (153.400 to 170.800) m³/h"


def test_both_files_give_back_what_was_written():
    assert numbers_of_file(numbers_file([RATE])) == (RATE,)
    moved = moved_numbers({RATE.key: RATE}, {}, Reasons())
    assert moved_of_file(moved_file(moved)) == moved


def test_a_key_names_one_number_and_a_file_needs_all_its_parts():
    with pytest.raises(ValueError, match="Two published numbers have the key 'unit/1/setting/2/rate'"):
        by_key([RATE, RATE])
    with pytest.raises(ValueError, match="The list of numbers has no 'key'"):
        numbers_of_file(b'{"numbers": [{"trials": [], "based_on": {}}]}')
