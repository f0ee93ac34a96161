"""An unchanged line of the ranking is not rendered again, and every changed one is."""

import re

import pytest
from markupsafe import Markup
from sqlalchemy import Engine, update

from app.storage.engine import session_scope
from app.storage.models.units_under_test import Price
from app.web.pages.ranking.view import RankingLine
from app.web.templating.environment import cached_markup, environment
from tests.conftest import sqlite_only
from tests.sample_data.ranked_bench import RankedBench, fill


@pytest.fixture
def bench(store: Engine) -> RankedBench:
    with session_scope(store) as session:
        return fill(session)


def lines_of(page: str) -> dict[str, str]:
    """The lines of the table by the address of their unit."""
    return {re.search(r"/units/\d+", line)[0]: line for line in re.findall(r'<tr><th scope="row">.*?</tr>', page)}


@sqlite_only("PostgreSQL does not tell which unit changed")
def test_after_a_change_of_one_unit_its_line_alone_is_written(client, store: Engine, bench: RankedBench):
    before = lines_of(client.get("/").text)
    assert len(before) == len(bench.units)
    written = cached_markup.cache_info().misses
    assert lines_of(client.get("/").text) == before
    assert cached_markup.cache_info().misses == written
    unit_id = bench.units["Strong"]
    with session_scope(store) as session:
        session.execute(update(Price).where(Price.unit_under_test_id == unit_id).values(amount=4321.0))
    after = lines_of(client.get("/").text)
    assert cached_markup.cache_info().misses == written + 1
    assert {unit for unit in before if before[unit] != after[unit]} == {f"/units/{unit_id}"}
    assert "4321" in after[f"/units/{unit_id}"]


def test_what_is_kept_looks_as_if_written_anew(client, bench: RankedBench):
    for query in ("", "?units=us", "?column=price&column=ozone", "?sort=name", "?setting=every", ""):
        kept = client.get(f"/{query}").text
        cached_markup.cache_clear()
        assert lines_of(client.get(f"/{query}").text) == lines_of(kept) != {}


def test_a_kept_line_is_escaped():
    row = environment().get_template("partials/ranking_row.html").module.ranking_row
    line = RankingLine(1, "<b>", "&", "other", "low", care=False, latest_trial_id=None, cells=())
    assert cached_markup(row, line, ()) == Markup(
        '<tr><th scope="row"><a href="/units/1">&amp;</a><span class="maker">&lt;b&gt;, low</span></th></tr>'
    )
