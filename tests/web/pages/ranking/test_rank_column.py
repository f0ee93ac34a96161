"""Ranks, ties and drawn intervals of the ranking page."""

import re
from dataclasses import replace

import pytest
from fastapi.testclient import TestClient
from starlette.datastructures import QueryParams

from app.services.ranking.rank_intervals import rank_view
from app.services.ranking.table import rank_units
from app.services.snapshot.bench_snapshot import current_snapshot
from app.services.snapshot.choices import RankingChoices
from app.storage.engine import session_scope
from app.web.forms.addresses import query_form
from app.web.forms.chart_choices import curve_choices, with_units_of_settings
from app.web.pages.ranking import page as ranking_page
from app.web.pages.ranking.lines import axis_to
from app.web.pages.ranking.rank_cells import rank_cells
from tests.sample_data.compared_bench import ComparedBench, fill

ALL = "Alder", "Birch", "Cedar", "Dud", "Elm"  # Birch and Cedar are a statistical tie; Dud does not clean


@pytest.fixture
def bench(store) -> ComparedBench:
    with session_scope(store) as session:
        return fill(session)


def shown(client: TestClient, query: str = "") -> str:
    client.get("/units")  # loads the whole program, as it is once the first page was answered
    return client.get(f"/?{query}").text


def ranks(html: str) -> list[str]:
    body = html.split("<tbody")[1].split("</tbody>")[0]
    return [re.sub(r"<[^>]+>", " ", cell).strip() for cell in re.findall(r'<td class="rank">(.*?)</td>', body)]


def expected(store, by: str = "clean_air_delivery_rate") -> dict[str, str]:
    with session_scope(store, writes=False) as session:
        view = rank_view(current_snapshot(session), RankingChoices(), by=by)
        return {
            one.line.row.model: f"{one.row.place} {one.row.rank_low_95} to {one.row.rank_high_95}"
            if one.row.rank_low_95 != one.row.rank_high_95
            else str(one.row.place)
            for one in view.measured
        }


def test_the_column_shows_the_simultaneous_rank_intervals(client, store, bench):
    html = shown(client)
    models = re.findall(r">(\w+)</a><span class=\"maker\"", html)
    found = dict(zip(models, (" ".join(one.split()) for one in ranks(html)), strict=True))
    assert found == {**expected(store), "Dud": "–", "Elm": ""}
    assert {model: found[model] for model in ("Alder", "Birch")} == {"Alder": "1", "Birch": "2 2 to 3"}


def test_the_ranks_follow_the_sorted_quantity(client, store, bench):
    html = shown(client, "sort=power")
    assert "by power" in html
    found = [" ".join(one.split()) for one in ranks(html)][:3]
    assert found == [expected(store, "power")[model] for model in ("Birch", "Cedar", "Alder")]


def test_a_bracket_joins_the_ties_and_no_others(client, store, bench):
    with session_scope(store, writes=False) as session:
        snapshot = current_snapshot(session)
        view = rank_view(snapshot, RankingChoices())
        cells = rank_cells(rank_units(snapshot), view)
    assert [[one.line.row.model for one in group] for group in view.groups] == [["Birch", "Cedar"]]
    assert [[(tie.lane, tie.part) for tie in cell.ties] for cell in cells] == [[], [(1, "start")], [(1, "end")], [], []]
    html = shown(client)
    assert (html.count('class="tie lane-1 start"'), html.count('class="tie lane-1 end"')) == (1, 1)


def test_a_bracket_that_goes_on_over_the_page_stays_open(store, bench):
    with session_scope(store, writes=False) as session:
        snapshot = current_snapshot(session)
        view = rank_view(snapshot, RankingChoices())
        first = rank_cells(rank_units(snapshot, RankingChoices(limit=2)), view)[-1]
        after = rank_cells(rank_units(snapshot, RankingChoices(limit=2, offset=2)), view)[0]
    assert [tie.part for tie in first.ties] == ["start"]
    assert [tie.part for tie in after.ties] == ["end"]


def test_no_bracket_is_drawn_where_other_rows_lie_between(store, bench):
    with session_scope(store, writes=False) as session:
        ranking = rank_units(current_snapshot(session))
        view = rank_view(current_snapshot(session), RankingChoices())
        alder, birch, cedar = ranking.lines[:3]
        cells = rank_cells(replace(ranking, lines=(birch, alder, cedar)), view)
    assert [(cell.interval, cell.ties) for cell in cells] == [("2 to 3", ()), ("", ()), ("2 to 3", ())]


def test_what_ties_with_the_first_is_named_in_the_finding(client, bench):
    tied = " ".join(shown(client, "max_price=160").replace("\xa0", " ").split())
    assert "Birch ranks first, in a statistical tie with Cedar: 95 % reduction in" in tied
    assert "clears the room fastest" not in tied
    certain = shown(client)
    assert "Alder clears the room fastest: " in certain
    assert "statistical tie with" not in certain


def test_without_rank_intervals_of_the_rate_no_unit_is_called_the_fastest(client, bench):
    page = shown(client, "sort=sound")
    assert "Alder has the highest measured rate: " in page
    assert "clears the room fastest" not in page


def test_a_large_bench_is_shown_first_and_ranked_after(client, bench, monkeypatch):
    monkeypatch.setattr(ranking_page, "MOST_RANKED_AT_ONCE", 2)
    html = shown(client)
    assert ranks(html) == ["1", "2", "3", "", ""]
    assert 'class="tie' not in html
    address = re.search(r'data-ranks-url="([^"]+)"', html)[1]
    assert f'<a href="{address}">Show the rank intervals</a>' in html
    ranked = client.get(address).text
    assert "data-ranks-url" not in ranked
    assert 'class="tie' in ranked


def test_places_are_left_out_where_only_the_intervals_could_give_them(client, bench, monkeypatch):
    monkeypatch.setattr(ranking_page, "MOST_RANKED_AT_ONCE", 2)
    assert set(ranks(shown(client, "sort=name"))) == {""}


@pytest.mark.parametrize("highest", [0.03, 0.8, 1.0, 7.3, 99.0, 100.0, 100.1, 586.0, 1234.0, 2.5e6])
def test_an_axis_holds_its_values_with_round_ticks(highest):
    axis = axis_to(highest)
    assert highest <= axis.top * (1 + 1e-9) <= 2.01 * highest
    assert 3 <= len(axis.ticks) <= 5
    assert (axis.ticks[0], axis.ticks[-1][0]) == ((0.0, "0" + axis.ticks[0][1][1:]), 100.0)
    for at, label in axis.ticks:  # a label is the value at its place, not a rounded neighbour
        assert float(label.replace("\u202f", "").replace("\u00a0", "").replace(",", "")) == pytest.approx(
            axis.top * at / 100, abs=axis.top * 6e-4
        )


def test_without_a_value_there_is_no_axis():
    assert axis_to(0.0) is None
    assert axis_to(float("nan")) is None


def test_the_interval_is_drawn_on_the_axis_of_the_head(client, bench):
    html = shown(client, "column=clean_air_delivery_rate")
    labels = re.findall(r"<text [^>]*>([\d.]+)</text>", html.split("</thead>")[0])
    drawn = re.findall(r'<path class="dot" d="M([\d.]+) 6h0"/>', html)
    top = float(labels[-1])
    rates = [float(rate) for rate in re.findall(r'<td class="number of-clean_air_delivery_rate"[^>]*>([\d.]+)<', html)]
    assert len(rates) == 3
    assert [float(at) * top / 100 for at in drawn][:3] == pytest.approx(
        rates, abs=0.6
    )  # the numbers are rounded to whole m³/h


def test_the_selected_rows_are_compared_and_drawn(client, store, bench):
    html = shown(client)
    ids = re.findall(r'name="setting_id" value="(\d+)"', html)
    assert [int(one) for one in ids] == list(bench.ids(*ALL))
    query = f"setting_id={ids[0]}&setting_id={ids[2]}"
    assert client.get(f"/compare?{query}").status_code == 200
    form = query_form(QueryParams(query))
    with session_scope(store, writes=False) as session:
        assert curve_choices(with_units_of_settings(session, form)).unit_ids == (
            bench.units["Alder"],
            bench.units["Cedar"],
        )
    assert client.get(f"/curves?{query}").status_code == 200
    assert client.get("/curves?setting_id=x").status_code == 422
