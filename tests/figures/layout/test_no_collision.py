"""No text touches another text, data that it does not name, or the edge, in any chart at any width."""

import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from functools import cache

import pytest
from sqlalchemy.orm import Session
from starlette.datastructures import QueryParams

from app.figures.chart import Chart
from app.figures.layout.boxes import Box
from app.figures.layout.chart_layout import chart_layout
from app.services.adding_trials.add import add_trial
from app.services.bench.definitions import NewCheckUnit, NewRoomChange
from app.services.bench.room_changes import add_room_change, mark_check_unit
from app.services.logs.trial_fields import NewTrial
from app.services.store.open import open_store
from app.settings import Settings
from app.web.downloads.chart_registry import NAMED_CHARTS, make_chart
from app.web.forms.addresses import query_form
from tests.figures.layout.collisions import drawn_collisions, layout_collisions
from tests.figures.layout.hostile_charts import HOSTILE
from tests.figures.some_charts import ALL
from tests.sample_data.control_bench import FIRST, add_runs, add_shifted_room, steady
from tests.sample_data.size_bins import log_of_bins

BINS_TRIAL = 16  # added to the bench below
WIDTHS = (360, 700, 960, 1280)
PAGE_HEIGHTS = (256, 480, 576)
QUERIES = {
    "ranking": ("", "setting=every", "room_area_m2=8"),
    "clearing-times": ("", "setting=every"),
    "decay-overlay": ("", "scale=log", "levels=share", "unit=1,2,3"),
    "cost-bars": ("",),
    "cost-over-years": ("", "unit=1,2"),
    "cost-sensitivity": ("unit=1,2",),
    "frontier": ("room_area_m2=30", "room_area_m2=20&max_sound_dba=45", "room_area_m2=30&units=us"),
    "sound-spectra": ("",),
    "price-history": ("unit=1", "unit=2", "unit=3"),
    "claims-measured": ("unit=1", "unit=2"),
    "trial-decay": ("trial=5", "trial=5&scale=log", "trial=9"),
    "residuals": ("trial=5",),
    "rates-by-size": (f"trial={BINS_TRIAL}",),
    "room-control": ("room=1", "room=3", "room=3&of=check-unit"),
    "room-ewma": ("room=3", "room=3&of=check-unit"),
    "logger-scatter": ("check=1",),
    "logger-difference": ("check=1",),
    "logger-record": ("logger=1", "logger=1&quantity=intercept"),
    "planned-runs": ("",),
}
ASKED = [(name, query) for name, queries in QUERIES.items() for query in queries]


@pytest.fixture(scope="module")
def demo_charts(demo_template, tmp_path_factory) -> Iterator[Session]:
    folder = tmp_path_factory.mktemp("charts")
    shutil.copyfile(demo_template, folder / "bench.sqlite")
    engine = open_store(Settings(folder))
    with Session(engine) as session:
        of_bins = NewTrial(kind="empty room", room_id=1)
        assert add_trial(session, log_of_bins(), "bins.csv", of_bins) == BINS_TRIAL
        room_id = add_shifted_room(session)
        for day, kind in ((date(2024, 5, 2), "furniture"), (date(2024, 5, 9), "season"), (date(2024, 9, 2), "filter")):
            add_room_change(session, room_id, NewRoomChange(changed_on=day, kind=kind, words="invented"))
        mark_check_unit(session, room_id, 1, NewCheckUnit(valid_from=FIRST.date()))
        add_runs(session, room_id, steady(30, level=4.0), setting=(1, 1), clean_air_share_m3=30.0)
        yield session
    engine.dispose()


def test_every_named_chart_is_asked_for():
    assert set(QUERIES) == set(NAMED_CHARTS)


@cache
def _demo_chart(session: Session, name: str, query: str) -> Chart:
    return make_chart(session, name, query_form(QueryParams(query)))


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize(("name", "query"), ASKED)
def test_on_the_demo_bench(name: str, query: str, width: int, demo_charts: Session, monkeypatch):
    chart = _demo_chart(demo_charts, name, query)
    assert not chart.is_empty
    assert layout_collisions(chart_layout(chart, width)) == []
    if width == WIDTHS[0]:  # the drawing follows the layout, and takes most of the time
        assert drawn_collisions(chart, width, monkeypatch) == []
    if width in (WIDTHS[0], WIDTHS[-1]):
        for height in PAGE_HEIGHTS:
            assert layout_collisions(chart_layout(chart, width, height)) == []


@pytest.mark.filterwarnings("ignore:Glyph .* missing from font:UserWarning")  # not every machine has every script
@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize(
    "chart", [*HOSTILE.values(), *ALL.values()], ids=[*HOSTILE, *(f"plain {name}" for name in ALL)]
)
def test_on_hostile_benches(chart: Chart, width: int, monkeypatch):
    assert layout_collisions(chart_layout(chart, width)) == []
    if width == WIDTHS[0] or (width == WIDTHS[-1] and chart in ALL.values()):
        assert drawn_collisions(chart, width, monkeypatch) == []
    if width in (WIDTHS[0], WIDTHS[-1]):
        for height in PAGE_HEIGHTS:
            assert layout_collisions(chart_layout(chart, width, height)) == []


def test_the_check_finds_what_touches():
    """Two labels put on one another, and one over the edge, are found."""
    layout = chart_layout(ALL["lines"], 960)
    moved = [text for text in layout.texts if text.kind == "end"]
    assert len(moved) == 2
    both = replace(layout, texts=(*layout.texts, replace(moved[0], box=moved[1].box)))
    assert any("touches" in words for words in layout_collisions(both))
    beyond = replace(layout, texts=(replace(moved[0], box=Box(900, 20, 990, 36)),))
    assert any("edge" in words for words in layout_collisions(beyond))


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("chart", HOSTILE.values(), ids=HOSTILE)
def test_every_name_is_at_its_data_or_in_the_key(chart: Chart, width: int):
    """Nothing is left out: what has no room beside its data is in the key below."""
    layout = chart_layout(chart, width)
    named = {id(text.series) for text in layout.texts if text.kind in ("end", "key")}
    wanted = {series.end_label: series for series in reversed(chart.series) if series.end_label}
    assert [name[:40] for name, series in wanted.items() if id(series) not in named] == []
    words = [" ".join(text.lines).replace("\u00a0", " ") for text in layout.texts]
    for label in (*chart.reference_lines, *chart.regions):
        assert any(label.label in each for each in words), label.label
