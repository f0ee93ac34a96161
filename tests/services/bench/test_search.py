"""Words find the things of a bench; every word has to be there, capitals aside, and signs are taken as they stand."""

import pytest
from sqlalchemy import Engine, select

from app.errors import InvalidValue
from app.services.adding_trials.add import add_trial
from app.services.bench.search import search_bench
from app.services.history.change_history import ChangeFilter, described_changes
from app.services.logs.trial_fields import NewTrial
from app.services.logs.trial_kinds import UNIT_RUNNING
from app.storage.engine import session_scope
from app.storage.models.logs import Log
from app.storage.models.ratings_and_claims import Claim, Rating
from app.storage.models.rooms import Room
from app.storage.models.trials import Trial
from tests.conftest import NOW, SmallBench, decay_log


@pytest.fixture
def bench(store: Engine, small_bench: SmallBench) -> SmallBench:
    with session_scope(store) as session:
        for number in range(2):
            trial = NewTrial(
                kind=UNIT_RUNNING,
                unit_under_test_id=small_bench.unit_id,
                setting_id=small_bench.high_setting_id,
                room_id=small_bench.room_id,
                notes="the Window stood 100% open" if number else "",
                tested_by="Ann",
            )
            add_trial(session, decay_log(6.0, seed=number, minutes=40), f"kitchen_{number}.csv", trial)
        claim = Claim(
            unit_under_test_id=small_bench.unit_id,
            quantity="power_w",
            value=40.0,
            unit_symbol="W",
            wording="Quiet as a Feather",
            where_seen="box",
            seen_on=NOW.date(),
        )
        rating = Rating(
            unit_under_test_id=small_bench.unit_id,
            aerosol="dust",
            listed=False,
            source="public list",
            seen_on=NOW.date(),
        )
        session.add_all([claim, rating])
    return small_bench


def _found(store: Engine, asked: str) -> dict[str, list[str]]:
    with session_scope(store, writes=False) as session:
        return {kind.kind: [thing.address for thing in kind.things] for kind in search_bench(session, asked)}


def test_each_kind_of_thing_is_found_by_its_words(store: Engine, bench: SmallBench):
    unit = f"/units/{bench.unit_id}"
    assert _found(store, "model 1")["Units"] == [unit]
    assert _found(store, "KITCHEN_1")["Trials"] == ["/trials/2"]
    assert _found(store, "window open")["Trials"] == ["/trials/2"]
    assert _found(store, "feather quiet") == {"Claims": [f"{unit}/claims"]}
    assert _found(store, "public list") == {"Certified rates": [f"{unit}/ratings"]}
    assert "Changes" in _found(store, "added kitchen_0")


def test_a_trial_is_found_by_its_room_day_setting_kind_tester_and_log(store: Engine, bench: SmallBench):
    with session_scope(store, writes=False) as session:
        started, room, sha256 = session.execute(
            select(Trial.started_at, Room.name, Log.sha256)
            .join(Room, Room.id == Trial.room_id)
            .join(Log, Log.id == Trial.log_id)
            .where(Trial.id == 2)
        ).one()
    both = ["/trials/2", "/trials/1"]
    for words in (room, started.date().isoformat(), "high", "running trial", "ANN", f"{started:%H:%M} ann"):
        assert _found(store, words)["Trials"] == both, words
    assert _found(store, f"{sha256[:8]} ann")["Trials"] == ["/trials/2"]
    assert "Trials" not in _found(store, sha256[1:])


def test_a_note_on_a_result_leads_to_its_trial(store: Engine, bench: SmallBench):
    found = _found(store, "empty-room")
    assert found["Notes on results"]
    assert all(address.startswith("/trials/") for address in found["Notes on results"])


def test_every_word_has_to_be_there_and_signs_are_plain(store: Engine, bench: SmallBench):
    assert "Trials" not in _found(store, "window shut")
    assert _found(store, "100%")["Trials"] == ["/trials/2"]
    assert "Trials" not in _found(store, "kitchen%1")
    assert _found(store, "zzz") == {}
    assert _found(store, "   ") == {}
    assert _found(store, "'; drop table trials; --") == {}


def test_a_trial_asked_for_by_its_number_stands_first(store: Engine, bench: SmallBench):
    assert _found(store, "trial 1")["Trials"][0] == "/trials/1"
    assert _found(store, "trial 2")["Trials"][0] == "/trials/2"
    assert "Trials" not in _found(store, "trial 99999999999")


def test_a_search_of_too_many_letters_is_refused(store: Engine, bench: SmallBench):
    with pytest.raises(InvalidValue, match=r"The search has 201 characters; at most 200 are allowed\. Use fewer"):
        _found(store, "a" * 201)


def test_changes_are_told_in_words_and_by_unit(store: Engine, bench: SmallBench):
    with session_scope(store, writes=False) as session:
        of_unit = described_changes(session, wanted=ChangeFilter(unit_id=bench.unit_id, consequences=False)).rows
        other = described_changes(session, wanted=ChangeFilter(unit_id=999)).rows
        corrections = described_changes(session, wanted=ChangeFilter(corrections_only=True, consequences=False)).rows
    assert {change.name for change in of_unit} == {"Trial 1 (Maker A Model 1)", "Trial 2 (Maker A Model 1)"}
    assert {change.what for change in of_unit} == {"was added"}
    assert {change.unit_id for change in of_unit} == {bench.unit_id}
    assert other == ()
    assert corrections == ()
