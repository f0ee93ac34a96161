"""The reviewer's text: versions with their figures, and what has moved under a published one."""

import pytest
from sqlalchemy import update
from sqlalchemy.orm import Session

from app.compute.method import METHOD_VERSION
from app.errors import InvalidValue, NotFound
from app.services.reviews.figures import GONE, OTHER, figures_of_units
from app.services.reviews.verdicts import (
    NAMED,
    outdated_texts,
    published_verdicts,
    save_verdict,
    verdicts_of_unit,
    withdraw_verdict,
)
from app.services.store.audit import changes_of
from app.services.units.entry import SUBJECT
from app.storage.models.summaries import SettingSummary
from tests.conftest import NOW
from tests.sample_data.measured_facts import add_price
from tests.sample_data.ranked_bench import RankedBench, fill


@pytest.fixture
def bench(session: Session) -> RankedBench:
    return fill(session)


def test_figures_are_those_that_readers_see(session: Session, bench: RankedBench):
    found = {figure.label: figure.shown for figure in figures_of_units(session, [bench.units["Strong"]])[1]}
    assert found["clean air delivery rate at “high”"] == "400\u00a0m³/h (390 to 410)"
    assert found["sound at “high”"] == "58\u00a0dB(A)"
    assert found["power at “high”"] == "50.00\u00a0W"
    assert found["price"] == "500.00\u00a0USD"
    noise = figures_of_units(session, [bench.units["Noise"]])[bench.units["Noise"]]
    assert "at most 7.00\u00a0m³/h" in [figure.shown for figure in noise]


def test_each_saving_is_a_version_with_its_day_and_figures(session: Session, bench: RankedBench):
    unit_id = bench.units["Strong"]
    assert save_verdict(session, unit_id, "Good for the money.\r\nLoud.", who="Ada", now=NOW) == 1
    assert save_verdict(session, unit_id, "Good.", "published", who="Bo", now=NOW) == 2
    session.expire_all()
    newest, first = verdicts_of_unit(session, unit_id)
    assert (first.version, first.words, first.written_by, first.written_at) == (
        1,
        "Good for the money.\nLoud.",
        "Ada",
        NOW,
    )
    assert (newest.state, newest.method_version) == ("published", METHOD_VERSION)
    own = [figure.key for figure in newest.figures if not figure.key.startswith(OTHER)]
    assert own == [figure.key for figure in figures_of_units(session, [unit_id])[unit_id]]
    assert [change.after for change in changes_of(session, SUBJECT, unit_id)][:2] == [
        "version 2, published",
        "version 1, draft",
    ]


def test_a_published_text_is_out_of_date_once_a_number_under_it_moves(session: Session, bench: RankedBench):
    unit_id = bench.units["Strong"]
    save_verdict(session, unit_id, "Strong and loud.", "published")
    assert outdated_texts(session, [unit_id]) == {}
    _set_rate(session, bench, "Strong", 350.0)
    (change,) = outdated_texts(session, [unit_id])[unit_id].changes
    assert change.sentence == (
        "Clean air delivery rate at “high”: was 400\u00a0m³/h (390 to 410), is 350\u00a0m³/h (390 to 410)."
    )
    add_price(session, unit_id, 450.0)
    assert len(outdated_texts(session, [unit_id])[unit_id].changes) == 2


def test_what_does_not_show_is_no_change(session: Session, bench: RankedBench):
    save_verdict(session, bench.units["Strong"], "Strong.", "published")
    _set_rate(session, bench, "Strong", 400.2)
    assert outdated_texts(session, [bench.units["Strong"]]) == {}


def test_a_figure_that_is_gone_is_told(session: Session, bench: RankedBench):
    save_verdict(session, bench.units["Strong"], "Strong.", "published")
    _set_rate(session, bench, "Strong", None)
    (change,) = outdated_texts(session, [bench.units["Strong"]])[bench.units["Strong"]].changes
    assert change.now == GONE


def test_a_text_is_out_of_date_too_once_a_unit_that_its_draft_names_moves(session: Session, bench: RankedBench):
    strong, middling = bench.units["Strong"], bench.units["Middling"]
    save_verdict(session, strong, "Strong; Middling is cheaper.", "published")
    (verdict,) = verdicts_of_unit(session, strong)
    shown = {figure.key: figure.shown for figure in verdict.figures}
    assert shown[NAMED] == "Maker B Middling; Maker B Weak"
    assert shown[f"other:{middling}:price"] == "150.00\u00a0USD"
    assert outdated_texts(session, [strong]) == {}

    add_price(session, middling, 170.0)
    (change,) = outdated_texts(session, [strong])[strong].changes
    assert change.sentence == "Maker B Middling, price: was 150.00\u00a0USD, is 170.00\u00a0USD."
    _set_rate(session, bench, "Weak", 60.0)
    assert len(outdated_texts(session, [strong])[strong].changes) == 2


def test_a_text_is_out_of_date_once_its_draft_would_name_another_unit(session: Session, bench: RankedBench):
    middling = bench.units["Middling"]
    save_verdict(session, middling, "Nothing stronger is cheaper.", "published")
    add_price(session, bench.units["Weak"], 160.0)  # no longer cheaper than Middling
    sentences = [change.sentence for change in outdated_texts(session, [middling])[middling].changes]
    assert sentences == [
        "Stronger or cheaper units named in the draft: was Maker B Weak, is none.",
        "Maker B Weak, price: was 80.00\u00a0USD, is 160.00\u00a0USD.",
    ]


def test_a_withdrawn_text_stays_in_the_history_and_ages_no_more(session: Session, bench: RankedBench):
    weak = bench.units["Weak"]
    save_verdict(session, weak, "Weak.", "published", now=NOW)
    _set_rate(session, bench, "Weak", 60.0)
    later = NOW.replace(day=9)
    assert withdraw_verdict(session, weak, " It was of another unit. ", who="Ada", now=later) == 1
    session.expire_all()
    (row,) = verdicts_of_unit(session, weak)
    assert (row.words, row.state) == ("Weak.", "published")
    assert (row.withdrawal.withdrawn_by, row.withdrawal.withdrawn_at) == ("Ada", later)
    assert row.withdrawal.why == "It was of another unit."
    assert outdated_texts(session, [weak]) == {}
    told = changes_of(session, SUBJECT, weak)[0]
    assert (told.action, told.before, told.after, told.why) == (
        "withdrawn",
        "version 1, published",
        None,
        "It was of another unit.",
    )
    assert save_verdict(session, weak, "Weak, still.", "published") == 2
    assert published_verdicts(session, [weak])[weak].withdrawal is None


def test_an_earlier_text_does_not_come_back_when_the_latest_is_withdrawn(session: Session, bench: RankedBench):
    weak = bench.units["Weak"]
    save_verdict(session, weak, "First.", "published")
    save_verdict(session, weak, "Second.", "published")
    withdraw_verdict(session, weak, "Wrong.")
    assert published_verdicts(session, [weak])[weak].words == "Second."
    with pytest.raises(InvalidValue, match=f"Unit {weak} has no published verdict to withdraw"):
        withdraw_verdict(session, weak, "Wrong.")


def test_a_withdrawal_needs_a_reason_and_a_unit(session: Session, bench: RankedBench):
    save_verdict(session, bench.units["Weak"], "Weak.", "published")
    with pytest.raises(InvalidValue, match="The reason for withdrawing the verdict is empty"):
        withdraw_verdict(session, bench.units["Weak"], " ")
    with pytest.raises(NotFound, match="no unit under test 99"):
        withdraw_verdict(session, 99, "Wrong.")


def test_a_draft_is_not_held_against_the_figures_and_saving_again_settles_it(session: Session, bench: RankedBench):
    strong, weak = bench.units["Strong"], bench.units["Weak"]
    save_verdict(session, weak, "Weak.")
    _set_rate(session, bench, "Weak", 70.0)
    assert outdated_texts(session, [strong, weak]) == {}
    save_verdict(session, weak, "Weak.", "published")
    _set_rate(session, bench, "Weak", 60.0)
    save_verdict(session, weak, "A better draft.")  # readers still have the published one
    assert list(outdated_texts(session, [strong, weak])) == [weak]
    save_verdict(session, weak, "Weak.", "published")
    assert outdated_texts(session, [strong, weak]) == {}


@pytest.mark.parametrize(
    ("words", "state", "message"),
    [
        (" \n ", "draft", "The verdict is empty"),
        ("Good.", "finished", "The state of the verdict is 'finished'; choose one of: draft, published."),
    ],
)
def test_what_cannot_be_is_refused(session: Session, bench: RankedBench, words: str, state: str, message: str):
    with pytest.raises(InvalidValue) as refused:
        save_verdict(session, bench.units["Weak"], words, state)
    assert message in refused.value.message
    assert verdicts_of_unit(session, bench.units["Weak"]) == []


def test_an_unknown_unit_is_refused(session: Session):
    with pytest.raises(NotFound, match="no unit under test 99"):
        save_verdict(session, 99, "Good.")


def _set_rate(session: Session, bench: RankedBench, model: str, rate: float | None) -> None:
    session.execute(
        update(SettingSummary)
        .where(SettingSummary.setting_id == bench.settings[model])
        .values(clean_air_delivery_rate_m3_per_h=rate)
    )
    session.flush()
