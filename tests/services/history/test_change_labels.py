"""The record of changes in words: names in place of ids, marks in minutes, no name of a column."""

import re
from dataclasses import fields

import pytest
from sqlalchemy.orm import Session

from app.services.bench.definitions import BenchChoices, NewLogger, NewRoom, NewTariff
from app.services.bench.tariffs import add_tariff
from app.services.history.change_history import DescribedChange, change_history, described_changes
from app.services.history.change_labels import field_label
from app.services.logs.trial_fields import TrialMarks
from app.services.results.recompute import COMPARED
from app.services.store.audit import record_change
from app.services.trials.edit import CHANGEABLE
from app.services.units.definitions import NewUnit
from tests.conftest import NOW, SmallBench


def changed(
    session: Session, subject: str, subject_id: int, field: str, before: object, after: object
) -> DescribedChange:
    record_change(session, "Ada", "changed", subject, subject_id, field, before, after)
    session.flush()
    return change_history(session, subject, subject_id)[0]


RECORDED = {
    *(field.name for table in (NewUnit, NewRoom, NewLogger, TrialMarks, BenchChoices) for field in fields(table)),
    *CHANGEABLE,
    *COMPARED,
    "aerosol",
    "excluded_why",
    "scenario",
    "choices",
}


@pytest.mark.parametrize("field", sorted(RECORDED))
def test_every_recorded_field_has_words_of_its_own(field: str):
    words = field_label(field)
    assert "_" not in words
    assert not re.search(r"\bid\b", words)
    assert words.startswith(("the ", "what ", "whether ", "where ", "how ", "who "))


def test_ids_are_told_by_name(session: Session, small_bench: SmallBench):
    for field, number, name in (
        ("room_id", small_bench.room_id, "Room A"),
        ("unit_under_test_id", small_bench.unit_id, "Maker A Model 1"),
        ("setting_id", small_bench.low_setting_id, "low"),
        ("logger_id", small_bench.logger_id, "Logger A"),
        ("smoke_source_id", small_bench.smoke_source_id, "incense"),
    ):
        described = changed(session, "trial", 1, field, None, number)
        assert (described.before, described.after) == (None, name)


def test_a_thing_that_is_gone_has_no_number_either(session: Session, small_bench: SmallBench):
    described = changed(session, "trial", 1, "room_id", 99, small_bench.room_id)
    assert (described.before, described.after) == ("one that no longer exists", "Room A")


def test_the_price_of_the_bench_is_told_by_its_region(session: Session):
    tariff = add_tariff(
        session, NewTariff(region="Hillside", price_per_kwh=0.3, currency="USD", valid_from=NOW.date(), source="bill")
    )
    told = changed(session, "bench", 1, "tariff_id", None, tariff)
    assert (told.name, told.what, told.after) == ("The bench", "the price of electricity was changed", "Hillside")
    added = next(change for change in described_changes(session).rows if change.subject == "tariff")
    assert (added.name, added.what) == ("Price of electricity: Hillside", "was added")


def test_things_are_told_by_their_name(session: Session, small_bench: SmallBench):
    assert changed(session, "room", small_bench.room_id, "furniture", "", "a bed").name == "Room: Room A"
    assert changed(session, "logger", small_bench.logger_id, "principle", "", "laser").name == "Logger: Logger A"


def test_marks_are_told_in_minutes_and_what_is_found_says_so(session: Session, small_bench: SmallBench):
    described = changed(session, "trial", 1, "unit_on_s", None, 750.0)
    assert described.what == "the mark “unit on” [min] was changed"
    assert (described.before, described.after) == ("detected from the data", "12.5")
    described = changed(session, "trial", 1, "clear_level_kind", None, "share_of_start")
    assert (described.before, described.after) == ("bench default", "a fraction of the level at unit on")


def test_computed_numbers_keep_the_digits_that_say_something(session: Session, small_bench: SmallBench):
    described = changed(session, "trial", 1, "pm2_5 total_decay_per_h", 5.43210987654, 5.5)
    assert described.what == "PM2.5: the total decay [1/h] was changed"
    assert (described.before, described.after) == ("5.432", "5.5")
    assert changed(session, "trial", 1, "started_at", None, NOW).after == "2026-03-02 09:00 UTC"
    assert changed(session, "bench", 1, "main_channel", "pm2_5", "pm10_b").after == "PM10, second detector"


def test_a_rate_is_rounded_by_its_uncertainty_and_a_return_names_no_field(session: Session, small_bench: SmallBench):
    described = changed(
        session, "trial", 1, "pm10 clean_air_delivery_rate_m3_per_h", "8.65577 ± 0.479", "8.65578 ± 0.48"
    )
    assert (described.before, described.after) == ("8.7 ± 0.5", "8.7 ± 0.5")
    record_change(session, "Ada", "restored", "trial", 1, "excluded_why", "a gap", None)
    session.flush()
    newest = change_history(session, "trial", 1)[0]
    assert (newest.what, newest.before) == ("was included again", "a gap")
