"""What readers are told of: what moves results, prices, verdicts and exclusions, in plain words, and nothing else."""

from datetime import timedelta

import pytest
from sqlalchemy.orm import Session

from app.services.history.change_history import ChangeFilter, described_changes
from app.services.history.reader_news import News, reader_news
from app.services.reviews.verdicts import save_verdict, withdraw_verdict
from app.services.store.audit import record_change
from app.services.trials.marks import exclude_trial
from app.services.units.entry import SUBJECT
from tests.conftest import NOW
from tests.sample_data.measured_facts import add_unit_with_setting


@pytest.fixture
def unit_id(session: Session) -> int:
    return add_unit_with_setting(session, "Model 1")[0]


def later(minutes: float):
    return NOW + timedelta(minutes=minutes)


def news(session: Session) -> list[News]:
    session.flush()
    return list(reader_news(session, 50))


def test_what_is_the_desks_own_affair_is_no_news(session: Session, unit_id: int):
    for field in ("notes", "mass_kg", "strength own-1", "setting", "bought_from"):
        record_change(session, "Ada", "changed", SUBJECT, unit_id, field, "a", "b", at=NOW)
    record_change(session, "Ada", "changed", "logger", 1, "principle", "a", "b", at=NOW)
    record_change(session, "Ada", "changed", "trial", 7, "tested_by", "a", "b", at=NOW)
    record_change(session, "Ada", "changed", "bench", 1, "timezone", "UTC", "b", at=NOW)
    save_verdict(session, unit_id, "Still a draft.", now=NOW)
    assert news(session) == []
    assert described_changes(session, wanted=ChangeFilter(public_only=True)).rows == ()


def test_a_published_and_a_withdrawn_verdict_are_news(session: Session, unit_id: int):
    save_verdict(session, unit_id, "Good.", "published", now=NOW)
    withdraw_verdict(session, unit_id, "It was of another unit", now=later(60))
    found = news(session)
    assert [one.title for one in found] == [
        "The verdict on Maker B Model 1 was withdrawn",
        "The verdict on Maker B Model 1 was published (version 1, published)",
    ]
    assert found[0].words.endswith("was withdrawn. Why: It was of another unit.")
    assert {one.unit_id for one in found} == {unit_id}


def test_what_was_done_in_one_go_is_one_piece_of_news(session: Session, unit_id: int):
    for minutes, field in ((0, "price"), (1, "price of main filter"), (2, "sound level"), (3, "sound level")):
        record_change(session, "Ada", "added", SUBJECT, unit_id, field, None, f"{field} x", at=later(minutes))
    record_change(session, "Ada", "added", SUBJECT, unit_id, "price", None, "249.00 USD on 2026-03-03", at=later(600))
    last, first = news(session)
    assert last.title == "The price of Maker B Model 1: 249.00 USD on 2026-03-03"
    assert "The price of main filter of Maker B Model 1: price of main filter x." in first.words
    assert "2 sound levels of Maker B Model 1 were recorded." in first.words
    assert first.at == later(3)


def test_a_piece_stays_the_same_one_when_more_is_added_to_it(session: Session, unit_id: int):
    record_change(session, "Ada", "added", SUBJECT, unit_id, "price", None, "1 USD", at=NOW)
    (before,) = news(session)
    record_change(session, "Ada", "added", SUBJECT, unit_id, "rating", None, "smoke: 5 m³/h", at=later(2))
    (after,) = news(session)
    assert after.id == before.id
    assert after.at > before.at


def test_a_correction_says_what_moved_and_why(session: Session):
    record_change(session, "Ada", "changed", "trial", 7, "unit_on_s", 600.0, 660.0, "the fan began late", at=NOW)
    rate = "pm2_5 clean_air_delivery_rate_m3_per_h"
    record_change(session, "Ada", "recomputed", "trial", 7, rate, "250 ± 4", "261 ± 4", "marks", at=later(0.1))
    (found,) = news(session)
    assert (found.trial_id, found.unit_id) == (7, None)
    assert "was corrected: " in found.words
    assert "from 10" in found.words  # 600 s as minutes
    assert "to 11" in found.words
    assert "results changed: " in found.words
    assert "250" in found.words
    assert "261" in found.words
    assert found.words.endswith("Why: the fan began late.")


def test_an_excluded_trial_is_news_with_its_reason(session: Session, make_trial_of_bench: int):
    exclude_trial(session, make_trial_of_bench, who="Ann Example", why="the door stood open")
    latest = news(session)[0]
    assert "is excluded from the results" in latest.title
    assert latest.words.endswith("Why: the door stood open.")
    assert "Ann" not in latest.words


@pytest.fixture
def make_trial_of_bench(session: Session, small_bench, make_log) -> int:
    from app.services.adding_trials.add import add_trial
    from app.services.logs.trial_fields import NewTrial

    new = NewTrial(
        kind="unit running",
        room_id=small_bench.room_id,
        unit_under_test_id=small_bench.unit_id,
        setting_id=small_bench.high_setting_id,
    )
    return add_trial(session, make_log(6.0, minutes=30), "log.csv", new, now=NOW)
