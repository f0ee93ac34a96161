"""Charts of the Pareto front, cost sensitivity, spectra, prices and claims: plotted data and text."""

from datetime import date

import pytest

from app.compute.clean_air.claims import ClaimCheck
from app.compute.clean_air.room_need import need_by_155_rule
from app.compute.comparison.room_advice import Candidate, Wish, advise, frontier
from app.compute.cost_and_energy.cost_sensitivity import Moved, Sensitivity
from app.compute.statistics.measured import Measured
from app.figures.charts.claims_measured import claims_chart, claims_text, has_share
from app.figures.charts.cost_sensitivity import moved_text
from app.figures.charts.frontier import MOST_LABELLED, frontier_chart, frontier_text
from app.figures.charts.price_history import price_history_chart, price_text
from app.figures.charts.sound_spectra import sound_spectra_chart, spectra_text
from app.figures.date_axis import date_ticks, day_number, day_of
from app.figures.renderers.embedded_chart import chart_html
from app.figures.renderers.plotly_chart import plotly_figure
from app.figures.renderers.svg_chart import svg_bytes
from app.figures.tables.chart_table import chart_csv
from app.services.bench.chart_facts import ChartFacts
from app.services.measurements.claims import CheckedClaim
from app.services.measurements.listening import ListedClip
from app.services.ranking.room_advice import AdviceForRoom, RoomChoices
from app.services.units.price_history import PriceHistory, PriceLine, SeenPrice
from app.storage.models.ratings_and_claims import Claim
from app.storage.models.sound_clips import SoundClip, SoundClipBand, SoundClipTone

FACTS = ChartFacts("Bench", False, "1.0", "", "", "", "")


def drawn(chart):
    """Both renderers take the chart."""
    plotly_figure(chart)
    assert svg_bytes(chart).startswith(b"<svg")
    return chart


def advice(*candidates, max_sound=45.0):
    choices = RoomChoices(room_area_m2=20.0, max_sound_dba=max_sound)
    need = need_by_155_rule(20.0)
    return AdviceForRoom(
        choices=choices,
        need=need,
        currency="USD",
        distance_m=1.0,
        advice=advise(candidates, Wish(need, max_sound)),
        best_of_unit=(),
        strongest_within_limits=None,
        quietest_that_serves=None,
        pairs=(),
        frontier=frontier(candidates),
        candidates=candidates,
        units=len(candidates),
        left_out=(),
    )


def candidate(number, rate, sound, price):
    return Candidate(f"Unit {number}", "high", Measured(rate, 5.0), True, sound, price, number, number)


def test_the_frontier_names_what_nothing_beats_and_keeps_the_rest_faint():
    found = advice(candidate(1, 300.0, 50.0, 200.0), candidate(2, 100.0, 35.0, 90.0), candidate(3, 90.0, 36.0, 95.0))
    chart = drawn(frontier_chart(found, FACTS, flow_factor=1.0, flow_symbol="m³/h"))
    beaten, *best = chart.series
    assert (beaten.faint, beaten.colour, beaten.x, beaten.y) == (True, None, (36.0,), (90.0,))
    assert beaten.hover == (), "the pointer passes over what is faint"
    assert {one.end_label for one in best} == {"Unit 1, high, 200\u00a0USD", "Unit 2, high, 90\u00a0USD"}
    assert [line.label for line in chart.reference_lines] == ["needed for 20 m²", "sound limit"]
    assert "2 settings that no other beats" in chart.alt_text


def test_a_long_frontier_keeps_a_series_for_each_of_the_first_only():
    many = [candidate(n, 100.0 + n, 30.0 + 0.1 * n, 100.0) for n in range(1, 71)]
    chart = frontier_chart(advice(*many), FACTS, flow_factor=1.0, flow_symbol="m³/h")
    assert len(chart.series) == 61
    assert len(chart.series[-1].x) == 10
    named = [one.name for one in chart.series if one.end_label]
    assert len(named) == MOST_LABELLED
    assert (named[0], named[-1]) == (chart.series[0].name, chart.series[59].name), "both ends are named"
    assert chart.subtitle.endswith(f"; {MOST_LABELLED} of 70 named")


def test_the_frontier_of_nothing_says_so():
    assert "No setting has a price" in frontier_text(advice())
    chart = drawn(frontier_chart(advice(max_sound=None), FACTS, flow_factor=1.0, flow_symbol="m³/h"))
    assert chart.is_empty
    assert len(chart.reference_lines) == 1


def test_one_setting_on_the_frontier_is_named_once():
    words = frontier_text(advice(candidate(1, 300.0, 50.0, 200.0)))
    assert words.count("Unit 1") == 1
    assert words.startswith("1 setting that no other beats")


def test_a_discount_rate_is_told_in_per_cent():
    entry = Sensitivity("discount rate", "per year", Moved(0.0, (), ()), Moved(0.1, (), ()), ())
    assert moved_text(entry) == "discount rate, 0 to 10 % a year"


def clip(level, *, tone=False):
    made = SoundClip(
        id=int(level), equivalent_level_dba=level, pascal_per_unit=1.0, distance_m=1.0, unit_under_test_id=1
    )
    made.bands = [SoundClipBand(nominal_hz=f, level_db=level, level_dba=level - 10) for f in (12.5, 100.0, 1000.0)]
    made.tones = [
        SoundClipTone(rank=1, frequency_hz=120.0, prominence_ratio_db=25.0, criterion_db=18.0, prominent=tone)
    ]
    return ListedClip(made, "Maker A", f"Model {level:g}", "high")


def test_spectra_leave_out_what_a_room_cannot_tell_and_name_prominent_tones():
    clips = [clip(40.0), clip(60.0, tone=True)]
    chart = drawn(sound_spectra_chart(clips, FACTS))
    assert [one.x for one in chart.series] == [(100.0, 1000.0)] * 2
    assert chart.alt_text == (
        "Maker A Model 40, high 40 dB(A); Maker A Model 60, high 60 dB(A) with a prominent tone at 120 Hz."
    )
    assert spectra_text([]) == "No calibrated clip selected."
    assert drawn(sound_spectra_chart([], FACTS)).is_empty


def history(*lines, others=0):
    return PriceHistory(1, "Maker A Model 1", "USD", lines, others)


def test_a_price_holds_until_the_latest_day_of_the_picture():
    unit = PriceLine(
        "Model 1", True, (SeenPrice(199.0, date(2025, 1, 1), ""), SeenPrice(179.0, date(2025, 7, 2), "shop"))
    )
    part = PriceLine("filter", False, (SeenPrice(40.0, date(2026, 1, 1), ""),))
    chart = drawn(price_history_chart(history(unit, part), FACTS))
    assert chart.series[0].y == (199.0, 179.0, 179.0)
    assert chart.series[0].x == tuple(day_number(day) for day in (date(2025, 1, 1), date(2025, 7, 2), date(2026, 1, 1)))
    figure = plotly_figure(chart)
    assert figure["layout"]["xaxis"]["type"] == "date"
    assert figure["data"][0]["x"] == ["2025-01-01", "2025-07-02", "2026-01-01"]
    assert "\nModel 1,2025-07-02,179.0," in chart_csv(chart).replace("\r\n", "\n")
    assert '<td class="n">2025-07-02</td>' in chart_html(chart)
    assert chart.alt_text == "Maker A Model 1: 179\u00a0USD on 2025-07-02, 199\u00a0USD on 2025-01-01."


def test_no_price_is_said_and_other_currencies_are_counted():
    assert price_text(history(others=2)) == (
        "No price of the unit itself recorded. 2 prices in another currency not included."
    )
    assert drawn(price_history_chart(history(), FACTS)).is_empty


@pytest.mark.parametrize(
    ("first", "last", "words"),
    [
        (date(2024, 12, 31), date(2026, 1, 2), ["Jan 2025", "Jul 2025", "Jan 2026"]),
        (date(2020, 5, 1), date(2026, 1, 2), ["2022", "2024", "2026"]),
        (date(2025, 2, 27), date(2025, 3, 3), ["27 Feb 2025", "1 Mar 2025", "3 Mar 2025"]),
    ],
)
def test_marks_stand_on_days_that_have_a_name(first: date, last: date, words: list[str]):
    ticks = date_ticks(day_number(first), day_number(last), 5 if words[0].startswith("20") else 4)
    assert [name for _, name in ticks] == words
    assert all(first <= day_of(place) <= last for place, _ in ticks)


def test_the_picture_to_take_away_has_the_same_days():
    unit = PriceLine("Model 1", True, (SeenPrice(199.0, date(2024, 1, 1), ""), SeenPrice(179.0, date(2026, 1, 2), "")))
    picture = svg_bytes(price_history_chart(history(unit), FACTS)).decode()
    assert ">2025</text>" in picture or ">Jan 2025</text>" in picture
    assert "2025.0" not in picture


def checked(number, measured, claimed, unit="m³/h", verdict="supported"):
    low, high = (None, None) if measured is None else (measured - 5, measured + 5)
    check = ClaimCheck(verdict, unit, claimed, measured, low, high, None, False, f"Sentence {number}.", ())
    return CheckedClaim(Claim(id=number, wording="Cleans the air of every room in the whole house"), check, "", "rate")


def test_claims_are_drawn_as_a_share_where_a_share_makes_sense():
    claims = (
        checked(1, 90.0, 100.0),
        checked(2, 50.0, 100.0, verdict="not supported"),
        checked(3, 40.0, 30.0, "dB(A)"),
        checked(4, None, 99.0, verdict="cannot be tested here"),
        checked(5, 4.0, 0.0),
    )
    chart = drawn(claims_chart("Unit A", claims, FACTS))
    assert chart.series[0].x == pytest.approx((90.0, 50.0))
    assert chart.series[0].low == pytest.approx((85.0, 45.0))
    assert len(set(chart.y_axis.names)) == 2  # the same wording twice still has two names
    assert [has_share(entry) for entry in claims] == [True, True, False, False, False]
    assert chart.alt_text == "5 claims on Unit A: 3 supported, 1 not supported, 1 cannot be tested here."


def test_a_unit_without_claims_says_so():
    assert claims_text("Unit A", ()) == "No claims about Unit A recorded."
    assert drawn(claims_chart("Unit A", (), FACTS)).is_empty
