"""The end of the smoke as a mark: typed, previewed, stored, drawn and published."""

from collections.abc import Callable

from fastapi.testclient import TestClient
from sqlalchemy import Engine

from app.services.trials.detail import trial_detail
from app.storage.engine import session_scope
from app.web.published.item_pages import _marks
from tests.conftest import SmallBench
from tests.web.pages.adding_a_trial.trial_forms import empty_room, message_by
from tests.web.pages.adding_a_trial.trial_forms import store as send

MakeLog = Callable[..., bytes]


def test_the_marked_end_of_the_smoke_moves_the_start_of_an_empty_rooms_decay(
    client: TestClient, store: Engine, small_bench: SmallBench, make_log: MakeLog
):
    """The level of the log falls from 15 min on; the source is said to have been out at 40 min."""
    content = make_log(decay_rate_per_h=0.6, seed=11, minutes=120)
    assert send(client, content, empty_room(small_bench, smoke_end="40")).status_code == 303
    trial = client.get("/api/trials/1").json()
    assert trial["marks"]["smoke_end_s"] == 2400.0
    assert trial["channels"]["pm2_5"]["unit_on_s"] == 2400.0
    with session_scope(store) as session:
        marks = {name: (at, how) for name, at, how in _marks(trial_detail(session, 1))}
    assert marks["Smoke end"] == ("40.00 min", "set by a person")
    assert marks["Fit window start"] == ("42.00 min", "detected from the readings")  # two minutes for mixing
    assert float(marks["Fit window end"][0].split()[0]) > 60
    drawing = client.get("/trials/1/figure.json").text
    assert "smoke ends" in drawing
    without = client.get("/trials/1/marks", params={"smoke_end": "", "unit_on": ""}).text
    assert "Smoke end" in without
    assert "smoke ends" not in client.get("/trials/1/figure.json", params={"smoke_end": ""}).text


def test_the_smoke_ends_after_it_starts_and_may_end_after_the_unit_is_on(
    client: TestClient, small_bench: SmallBench, make_log: MakeLog
):
    assert send(client, make_log(), empty_room(small_bench)).status_code == 303
    wrong = client.get("/trials/1/marks", params={"smoke_start": "9", "smoke_end": "5"})
    assert wrong.status_code == 422
    assert message_by(wrong.text, "smoke_end") == (
        "The mark for smoke end is at 300 s, before smoke start at 540 s. Marks must be in the order of the run; move "
        "one of the two."
    )
    wrong = client.get("/trials/1/marks", params={"smoke_end": "30", "fit_start": "20"})
    assert "The mark for fit window start is at 1200 s, before smoke end at 1800 s." in wrong.text
    assert client.get("/trials/1/marks", params={"unit_on": "16", "smoke_end": "18"}).status_code == 200
