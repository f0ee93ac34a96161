"""A commit between two reads of a request leaves nothing out of date for later requests."""

from collections.abc import Iterator

import pytest
from sqlalchemy import Engine

from app.settings import Settings
from app.storage.engine import session_scope
from tests.faults.commit_between_reads import ADDRESSES, ReadBench
from tests.sample_data.ranked_bench import fill


@pytest.fixture
def bench(settings: Settings, store: Engine) -> Iterator[ReadBench]:
    with session_scope(store) as session:
        filled = fill(session)
    units = list(filled.units.values())
    url = store.url.render_as_string(hide_password=False)
    opened = ReadBench(settings, url, units, {"strong": filled.settings["Strong"], "weak": filled.settings["Weak"]})
    yield opened
    opened.close()


@pytest.mark.parametrize("first", range(0, len(ADDRESSES), 5))
def test_a_commit_before_a_statement_of_a_request(bench: ReadBench, first: int):
    out_of_date = []
    with bench.server() as client:
        for address in bench.addresses[first : first + 5]:
            statements = bench.statements_of(client, address)
            assert statements > 0
            for place in {round(share * (statements - 1)) for share in (0, 0.33, 0.66, 1)}:
                if bench.out_of_date_after_gap(client, address, place):
                    out_of_date.append(f"{address} before statement {place} of {statements}")
    assert out_of_date == []


def test_readers_of_several_views_and_a_writer_at_the_same_time(bench: ReadBench):
    with bench.server() as client:
        for first in range(0, len(bench.addresses), 4):
            for _ in range(2):
                assert bench.out_of_date_after_race(client, bench.addresses[first : first + 4], commits=3) == []
