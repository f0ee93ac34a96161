"""What goes to the trash leaves every combined number at once, and comes back exactly as it was, raw file included."""

from datetime import timedelta

import pytest
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from app.errors import InvalidValue
from app.services.adding_trials.add import add_trial
from app.services.logs.trial_fields import NewTrial
from app.services.ranking.table import rank_units
from app.services.snapshot.bench_snapshot import current_snapshot
from app.services.store.audit import changes_of
from app.services.trials.decay_curves import CurveChoices, decay_overlay
from app.services.trials.trash import list_trash, trash_trial, trash_unit, untrash_trial, untrash_unit
from app.services.units.entry import SUBJECT
from app.storage.engine import session_scope
from app.storage.models.logs import Log, RawFile, readings
from app.storage.models.summaries import SettingSummary
from app.storage.models.trials import ChannelResult, NaturalDecayPool, ResultNote, Trial
from tests.conftest import NOW, SmallBench, decay_log

# what a trip to the trash has to leave as it was, cell by cell
KEPT = (Trial.__table__, ChannelResult.__table__, ResultNote.__table__, RawFile.__table__, Log.__table__, readings)
# ids of rows that are derived again, and when; what they say has to be the same
_NOT_COMPARED = {"id", "pool_id", "computed_at"}


@pytest.fixture
def bench(store: Engine, small_bench: SmallBench) -> SmallBench:
    """Two empty-room runs (1, 2), two runs at the highest setting (3, 4)."""
    with session_scope(store) as session:
        for seed in (1, 2):
            run = NewTrial(kind="empty room", room_id=small_bench.room_id)
            add_trial(session, decay_log(0.5, minutes=90, seed=seed), f"empty{seed}.csv", run, now=NOW)
        for seed, rate in ((3, 5.5), (4, 6.5)):
            run = NewTrial(
                kind="unit running",
                room_id=small_bench.room_id,
                unit_under_test_id=small_bench.unit_id,
                setting_id=small_bench.high_setting_id,
            )
            add_trial(session, decay_log(rate, seed=seed), f"run{seed}.csv", run, now=NOW)
    return small_bench


def _rows(session: Session, *tables) -> dict[str, list[tuple[object, ...]]]:
    session.flush()
    columns = {table.name: [c for c in table.columns if c.name not in _NOT_COMPARED] for table in tables}
    return {
        name: sorted((tuple(row) for row in session.execute(select(*of_table))), key=repr)
        for name, of_table in columns.items()
    }


def _rate(session: Session) -> float | None:
    return rank_units(current_snapshot(session)).lines[0].row.total_decay_per_h


def test_a_trial_leaves_ranking_curves_and_summaries_at_once(session: Session, bench: SmallBench):
    both = _rate(session)
    trash_trial(session, 4, who="Ann", why="the door was open", now=NOW)
    assert _rate(session) == pytest.approx(5.5, rel=0.03)
    assert _rate(session) != both
    assert [summary.trials for summary in session.scalars(select(SettingSummary))] == [1, 1, 1]
    assert [curve.trial_id for curve in decay_overlay(session).curves] == [3]
    assert decay_overlay(session, CurveChoices(trial_ids=(3, 4))).left_out == (
        "No result for this channel, or in the trash: trial 4.",
    )


def test_a_trial_comes_back_with_every_cell_as_it_was(session: Session, bench: SmallBench):
    kept, combined = _rows(session, *KEPT), _rows(session, SettingSummary.__table__, NaturalDecayPool.__table__)
    trash_trial(session, 4, who="Ann", why="the door was open", now=NOW)
    assert _rows(session, RawFile.__table__, readings) == {name: kept[name] for name in ("raw_files", "readings")}
    assert _rows(session, SettingSummary.__table__) != {"setting_summaries": combined["setting_summaries"]}
    untrash_trial(session, 4, who="Ben", why="it was closed")
    assert _rows(session, *KEPT) == kept
    assert _rows(session, SettingSummary.__table__, NaturalDecayPool.__table__) == combined
    told = [(c.who, c.action, c.why) for c in changes_of(session, "trial", 4)[:2]]
    assert told == [("Ben", "untrashed", "it was closed"), ("Ann", "trashed", "the door was open")]


def test_an_empty_room_run_in_the_trash_is_taken_off_nothing_until_it_is_back(session: Session, bench: SmallBench):
    kept, combined = _rows(session, *KEPT), _rows(session, SettingSummary.__table__, NaturalDecayPool.__table__)
    for number in (1, 2):
        trash_trial(session, number, why="a window was open")
    assert session.scalars(select(NaturalDecayPool.id)).all() == []
    assert rank_units(current_snapshot(session)).lines[0].row.clean_air_delivery_rate_m3_per_h is None
    for number in (1, 2):
        untrash_trial(session, number)
    assert _rows(session, *KEPT) == kept
    assert _rows(session, SettingSummary.__table__, NaturalDecayPool.__table__) == combined


def test_a_unit_leaves_ranking_and_curves_and_comes_back_with_its_trials(session: Session, bench: SmallBench):
    kept = _rows(session, *KEPT)
    trash_unit(session, bench.unit_id, who="Ann", why="given back")
    assert rank_units(current_snapshot(session)).lines == ()
    assert decay_overlay(session, CurveChoices(trial_ids=(3,))).curves == ()
    untrash_unit(session, bench.unit_id, who="Ann")
    assert _rate(session) == pytest.approx(6.0, rel=0.03)
    assert _rows(session, *KEPT) == kept
    assert [c.action for c in changes_of(session, SUBJECT, bench.unit_id)] == ["untrashed", "trashed"]


def test_the_trash_tells_who_when_and_why_the_last_first(session: Session, bench: SmallBench):
    trash_trial(session, 4, who="Ann", why="a first reason", now=NOW - timedelta(days=1))
    untrash_trial(session, 4)
    trash_trial(session, 4, who="Ben", why="the door was open", now=NOW)
    trash_trial(session, 1, who="Ann", why="a window", now=NOW + timedelta(hours=1))
    trash_unit(session, bench.unit_id, who="Cleo", why="given back", now=NOW + timedelta(hours=2))
    session.flush()
    found = list_trash(session)
    assert found.total == 3
    assert [(t.subject, t.id, t.who, t.why) for t in found.things] == [
        (SUBJECT, bench.unit_id, "Cleo", "given back"),
        ("trial", 1, "Ann", "a window"),
        ("trial", 4, "Ben", "the door was open"),
    ]
    assert [t.name for t in found.things] == [
        "Maker A Model 1",
        "Trial 1 of 2026-03-02: empty room Room A",
        "Trial 4 of 2026-03-02: Maker A Model 1, high",
    ]
    assert found.things[2].trashed_at == NOW
    assert [t.id for t in list_trash(session, 1, 1).things] == [1]


@pytest.mark.parametrize("put", [trash_trial, trash_unit])
def test_a_reason_is_needed(session: Session, bench: SmallBench, put):
    what = "trial" if put is trash_trial else "unit"
    with pytest.raises(InvalidValue, match=f"The reason for deleting the {what} is empty. Enter"):
        put(session, 1, who="Ann", why=" ")
