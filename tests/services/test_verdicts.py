"""The reviewer's text: versions with their figures, and what has moved under a published one."""

import pytest
from sqlalchemy import update
from sqlalchemy.orm import Session

from app.compute.method import METHOD_VERSION
from app.errors import InvalidValue, NotFound
from app.services.audit import changes_of
from app.services.review_figures import GONE, figures_of_units
from app.services.units import SUBJECT
from app.services.verdicts import outdated_texts, save_verdict, verdicts_of_unit
from app.storage.trials import SettingSummary
from tests.conftest import NOW
from tests.services.measured_facts import add_price
from tests.services.ranked_bench import RankedBench, fill


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
    assert [figure.key for figure in newest.figures] == [f.key for f in figures_of_units(session, [unit_id])[unit_id]]
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
        ("Good.", "finished", "The state of the verdict is 'finished'; it needs one of: draft, published."),
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
