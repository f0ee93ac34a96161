"""Every change by page or script leaves a record under the account's name.

The test goes through the route permissions: a new writing route fails it until it is included here.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import pytest
from fastapi.testclient import TestClient
from httpx import Response
from sqlalchemy import Engine, select, update

from app.services.adding_trials.live_runs.run import CLOSED_AFTER
from app.storage.engine import session_scope
from app.storage.models.bench import Bench, Change
from app.storage.models.live_runs import LiveRun
from app.web.security.permissions import LEAST_ROLE
from tests.conftest import SmallBench, decay_log
from tests.sample_data.accounts import PASSWORD, make_account
from tests.sample_data.api_entries import API_ENTRIES
from tests.sample_data.logger_logs import logger_file
from tests.sample_data.photos import photo
from tests.sample_data.sound_files import noise, sound_bytes
from tests.web.pages.adding_a_trial.trial_forms import conditions, upload
from tests.web.pages.units.test_bulk import token_of
from tests.web.pages.units.test_measurements import sound
from tests.web.pages.units.test_statements import CLAIM, RATING

WHY = {"why": "a reason", "who": "somebody else"}
# what each of these leaves behind is no part of the bench: a waiting upload, a preview, a browser's sign-in, readings
# of a run that is no trial yet
STORES_NOTHING_OF_THE_BENCH = {
    "POST /sign-in",
    "POST /sign-out",
    "POST /bulk",
    "POST /trials/add",
    "POST /trials/add/{token}/discard",
    "POST /api/runs/{run_id}/readings",
    "POST /live/{run_id}/replay",
}


@dataclass
class Desk:
    """A signed-in browser on the small bench."""

    client: TestClient
    bench: SmallBench
    store: Engine

    @property
    def unit(self) -> str:
        return f"/units/{self.bench.unit_id}"

    @property
    def room(self) -> str:
        return f"/rooms/{self.bench.room_id}"

    def post(self, path: str, **fields: str) -> Response:
        return self.client.post(path, data=WHY | fields)


def _add_trial(desk: Desk) -> Response:
    address = upload(desk.client, decay_log(6.0, minutes=30)).split("?")[0]
    return desk.client.post(address, data=conditions(desk.bench))


def _add_batch(desk: Desk) -> Response:
    tokens = [upload(desk.client, decay_log(5.0, minutes=30, seed=n)).split("/")[3].split("?")[0] for n in (21, 22)]
    fields: dict[str, object] = {"sent": "1", "token": tokens, "room_id": str(desk.bench.room_id)}
    for token in tokens:
        fields |= {f"keep_{token}": "1", f"kind_{token}": "empty room"}
    return desk.client.post("/trials/add/batch", data=fields)


def _power_of_upload(desk: Desk) -> Response:
    rows = "\n".join(f"2026-03-02T10:{minute:02d}:00Z,40" for minute in range(30))
    address = upload(desk.client, f"time,power [W]\n{rows}".encode()).split("?")[0]
    fields = {"power_unit_id": str(desk.bench.unit_id), "power_setting": "high"}
    return desk.client.post(f"{address}/power", data=fields)


def _undo(desk: Desk) -> Response:
    desk.post(f"{desk.unit}/ozone", **_OZONE)
    change = desk.client.get(desk.unit).text.split('name="change_id" value="')[1].split('"')[0]
    return desk.post(f"{desk.unit}/undo", change_id=change)


def _add_trial_by_api(desk: Desk) -> Response:
    b = desk.bench
    fields = {"unit_under_test_id": b.unit_id, "setting_id": b.low_setting_id, "room_id": b.room_id}
    log = ("other.csv", decay_log(4.0, minutes=30, seed=9), "text/csv")
    return desk.client.post("/api/trials", data=fields, files={"log": log})


def _end_run_by_api(desk: Desk) -> Response:
    run = desk.client.post("/api/runs", json={"room_id": desk.bench.room_id, "kind": "empty room"}).json()
    now = datetime.now(UTC)
    lot = [{"time": (now + timedelta(seconds=10 * n)).isoformat(), "pm2_5": 300.0 / (1 + n)} for n in range(30)]
    desk.client.post(f"/api/runs/{run['id']}/readings", json={"readings": lot})
    return desk.client.post(f"/api/runs/{run['id']}/finish")


def _another_run(desk: Desk, path: str, **fields: str) -> Response:
    """Starts a run in the room after the one before it was closed, on an invented bench."""
    with session_scope(desk.store) as session:
        session.execute(update(LiveRun).values(last_heard_at=datetime.now(UTC) - CLOSED_AFTER))
        session.execute(update(Bench).values(invented=True))
    return desk.post(path, **fields)


def _end_run(desk: Desk) -> Response:
    now = datetime.now(UTC)
    lot = [{"time": (now + timedelta(seconds=10 * n)).isoformat(), "pm2_5": 200.0 / (1 + n)} for n in range(30)]
    desk.client.post("/api/runs/3/readings", json={"readings": lot})
    return desk.post("/live/3/finish", unit_under_test_id=str(desk.bench.unit_id), setting="low")


def _clip(desk: Desk) -> Response:
    fields = {
        "setting": str(desk.bench.high_setting_id),
        "distance_m": "1",
        "channel": "1",
        "recorded_on": "2026-02-03",
    }
    clip = {"clip": ("fan.wav", sound_bytes(noise()), "audio/wav")}
    return desk.client.post(f"{desk.unit}/clips", data=fields, files=clip)


def _photo(desk: Desk, path: str, width: int = 40) -> Response:
    return desk.client.post(path, data={"shows": "unit"}, files={"file": ("unit.jpg", photo(width=width))})


def _check_by_api(desk: Desk) -> Response:
    log = ("clean.csv", logger_file(7), "text/csv")
    return desk.client.post("/api/logger-checks", data={"loggers": "Logger A", "kind": "zero"}, files={"logs": log})


def _check(desk: Desk) -> Response:
    fields = {"logger_1": str(desk.bench.logger_id), "kind": "zero"}
    return desk.client.post("/logger-checks/add", data=fields, files={"file_1": ("clean.csv", logger_file(8))})


def _bulk(desk: Desk) -> Response:
    table = {"table": ("units.csv", b"maker,model\nMaker C,Alpha\n", "text/csv")}
    page = desk.client.post("/bulk", files=table)
    return desk.post(f"/bulk/{token_of(page)}", kind="units")


def _bench(desk: Desk) -> Response:
    names = {"name": "Another name", "timezone": "UTC", "currency": "USD", "clear_level_kind": "absolute"}
    numbers = {"clear_level_value": "10", "standard_distance_m": "1", "natural_decay_stale_after_days": "180"}
    hours = {"hours_per_day": "24", "days_per_year": "365", "main_channel": "pm2_5"}
    return desk.post("/bench", **names, **numbers, **hours, sound_correction_rule="ISO 3746")


_PASSWORDS = {"present_password": PASSWORD, "password": "another few words", "password_again": "another few words"}
_OZONE = {"ozone_ppb": "3", "ozone_tested_on": "2026-02-01", "ozone_method": "box", "ozone_source": "own test"}
_ROOM_CHANGE = {"changed_on": "2026-01-01", "change_kind": "furniture", "change_words": "new sofa"}
_TARIFF = {
    "region": "here",
    "price_per_kwh": "0.2",
    "currency": "USD",
    "valid_from": "2026-01-01",
    "tariff_source": "bill",
}

# route -> subject of the record, and how it is carried out; in an order in which each finds what it needs
Act = Callable[[Desk], Response]
ACTS: dict[str, tuple[str, Act]] = {
    "POST /trials/add/{token}": ("trial", _add_trial),
    "POST /trials/add/batch": ("trial", _add_batch),
    "POST /trials/add/{token}/power": ("unit under test", _power_of_upload),
    "POST /api/trials": ("trial", _add_trial_by_api),
    "POST /plan": ("plan", lambda d: d.post("/plan", name="One", goal="rate", unit_id=str(d.bench.unit_id))),
    "POST /api/plans": (
        "plan",
        lambda d: d.client.post(
            "/api/plans", json={"name": "Two", "goal": "rate", "setting_id": d.bench.high_setting_id}
        ),
    ),
    "POST /plans/{plan_id}/delete": ("plan", lambda d: d.post("/plans/1/delete")),
    "PATCH /api/trials/{trial_id}": ("trial", lambda d: d.client.patch("/api/trials/1", json={"notes": "x"} | WHY)),
    "POST /api/runs/{run_id}/finish": ("live run", _end_run_by_api),
    "POST /api/runs": ("live run", lambda d: d.client.post("/api/runs", json={"room_id": d.bench.room_id})),
    "POST /api/runs/{run_id}/events": (
        "live run",
        lambda d: d.client.post("/api/runs/2/events", json={"kind": "unit on"}),
    ),
    "POST /live": ("live run", lambda d: _another_run(d, "/live", room_id=str(d.bench.room_id))),
    "POST /live/{run_id}/events": ("live run", lambda d: d.post("/live/3/events", kind="unit off")),
    "POST /live/{run_id}/events/{event_id}/undo": ("live run", lambda d: d.post("/live/3/events/2/undo")),
    "POST /live/{run_id}/finish": ("live run", lambda d: _end_run(d)),
    "POST /live/demonstration": ("live run", lambda d: _another_run(d, "/live/demonstration")),
    "POST /trials/{trial_id}/marks": ("trial", lambda d: d.post("/trials/1/marks", end="40")),
    "POST /trials/{trial_id}/edit": ("trial", lambda d: d.post("/trials/1/edit", **conditions(d.bench, notes="y"))),
    "POST /trials/{trial_id}/exclude": ("trial", lambda d: d.post("/trials/1/exclude")),
    "POST /trials/{trial_id}/restore": ("trial", lambda d: d.post("/trials/1/restore")),
    "POST /trials/{trial_id}/trash": ("trial", lambda d: d.post("/trials/1/trash", trash_why="mistake")),
    "POST /trials/{trial_id}/untrash": ("trial", lambda d: d.post("/trials/1/untrash")),
    "POST /api/units": ("unit under test", lambda d: d.client.post("/api/units", json={"maker": "M", "model": "1"})),
    "PATCH /api/units/{unit_id}": (
        "unit under test",
        lambda d: d.client.patch(f"/api/units/{d.bench.unit_id}", json={"notes": "heavy"} | WHY),
    ),
    **{
        f"POST /api/units/{{unit_id}}/{what}": (
            "unit under test",
            lambda d, what=what, entry=entry: d.client.post(
                f"/api/units/{d.bench.unit_id}/{what}", json=entry(d.bench.high_setting_id)
            ),
        )
        for what, entry in API_ENTRIES.items()
    },
    "POST /units/add": (
        "unit under test",
        lambda d: d.post("/units/add", maker="M", model="2", kind_of_cleaning="other"),
    ),
    "POST /units/{unit_id}/edit": (
        "unit under test",
        lambda d: d.post(f"{d.unit}/edit", maker="Maker A", model="Model 1", kind_of_cleaning="ioniser"),
    ),
    "POST /units/{unit_id}/trash": ("unit under test", lambda d: d.post(f"{d.unit}/trash", trash_why="sold")),
    "POST /units/{unit_id}/untrash": ("unit under test", lambda d: d.post(f"{d.unit}/untrash")),
    "POST /units/{unit_id}/sound": ("unit under test", lambda d: d.post(f"{d.unit}/sound", **sound(d.bench))),
    "POST /units/{unit_id}/sound/{measurement_id}/take-back": (
        "unit under test",
        lambda d: d.post(f"{d.unit}/sound/1/take-back"),
    ),
    "POST /units/{unit_id}/power": (
        "unit under test",
        lambda d: d.post(f"{d.unit}/power", setting="0", power_w="3", measured_on="2026-02-01"),
    ),
    "POST /units/{unit_id}/power/{measurement_id}/take-back": (
        "unit under test",
        lambda d: d.post(f"{d.unit}/power/1/take-back"),
    ),
    "POST /units/{unit_id}/ozone": ("unit under test", lambda d: d.post(f"{d.unit}/ozone", **_OZONE)),
    "POST /units/{unit_id}/ozone/{measurement_id}/take-back": (
        "unit under test",
        lambda d: d.post(f"{d.unit}/ozone/1/take-back"),
    ),
    "POST /units/{unit_id}/ratings": ("unit under test", lambda d: d.post(f"{d.unit}/ratings", **RATING)),
    "POST /units/{unit_id}/ratings/{rating_id}/take-back": (
        "unit under test",
        lambda d: d.post(f"{d.unit}/ratings/1/take-back"),
    ),
    "POST /units/{unit_id}/claims": ("unit under test", lambda d: d.post(f"{d.unit}/claims", **CLAIM)),
    "POST /units/{unit_id}/claims/{claim_id}/take-back": (
        "unit under test",
        lambda d: d.post(f"{d.unit}/claims/1/take-back"),
    ),
    "POST /units/{unit_id}/undo": ("unit under test", _undo),
    "POST /units/{unit_id}/clips": ("unit under test", _clip),
    "POST /units/{unit_id}/clips/{clip_id}/take-back": (
        "unit under test",
        lambda d: d.post(f"{d.unit}/clips/1/take-back"),
    ),
    "POST /units/{unit_id}/attachments": ("unit under test", lambda d: _photo(d, f"{d.unit}/attachments")),
    "POST /api/units/{unit_id}/attachments": ("unit under test", lambda d: _photo(d, f"/api{d.unit}/attachments", 41)),
    "POST /units/{unit_id}/attachments/{attachment_id}/take-back": (
        "unit under test",
        lambda d: d.post(f"{d.unit}/attachments/1/take-back"),
    ),
    "POST /units/{unit_id}/attachments/{attachment_id}/readers": (
        "unit under test",
        lambda d: d.post(f"{d.unit}/attachments/2/readers", shown="1"),
    ),
    "POST /trials/{trial_id}/attachments": ("trial", lambda d: _photo(d, "/trials/1/attachments")),
    "POST /api/trials/{trial_id}/attachments": ("trial", lambda d: _photo(d, "/api/trials/1/attachments", 41)),
    "POST /trials/{trial_id}/attachments/{attachment_id}/readers": (
        "trial",
        lambda d: d.post("/trials/1/attachments/4/readers", shown="1"),
    ),
    "POST /trials/{trial_id}/attachments/{attachment_id}/take-back": (
        "trial",
        lambda d: d.post("/trials/1/attachments/3/take-back"),
    ),
    "POST /units/{unit_id}/draft/points": (
        "unit under test",
        lambda d: d.post(f"{d.unit}/draft/points", kind="strength", words="Its cord is long."),
    ),
    "POST /units/{unit_id}/draft/verdict": (
        "unit under test",
        lambda d: d.post(f"{d.unit}/draft/verdict", verdict="It cleans.", state="published"),
    ),
    "POST /units/{unit_id}/draft/verdict/withdraw": (
        "unit under test",
        lambda d: d.post(f"{d.unit}/draft/verdict/withdraw", withdraw_why="It was of another unit."),
    ),
    "POST /bulk/{token}": ("unit under test", _bulk),
    "POST /rooms/add": ("room", lambda d: d.post("/rooms/add", room="Room B", room_volume_m3="20")),
    "POST /rooms/{room_id}/edit": (
        "room",
        lambda d: d.post(f"/rooms/{d.bench.room_id}/edit", room="Room A", room_volume_m3="31"),
    ),
    "POST /rooms/{room_id}/changes": ("room", lambda d: d.post(f"{d.room}/changes", **_ROOM_CHANGE)),
    "POST /rooms/{room_id}/changes/{change_id}/take-back": (
        "room",
        lambda d: d.post(f"{d.room}/changes/1/take-back"),
    ),
    "POST /rooms/{room_id}/check-unit": (
        "room",
        lambda d: d.post(
            f"{d.room}/check-unit", check_setting=str(d.bench.high_setting_id), check_valid_from="2026-01-01"
        ),
    ),
    "POST /rooms/{room_id}/check-unit/{mark_id}/take-back": (
        "room",
        lambda d: d.post(f"{d.room}/check-unit/1/take-back"),
    ),
    "POST /api/rooms/{room_id}/changes": (
        "room",
        lambda d: d.client.post(
            f"/api{d.room}/changes", json={"changed_on": "2026-01-01", "kind": "season", "words": "x"}
        ),
    ),
    "POST /api/rooms/{room_id}/check-units": (
        "room",
        lambda d: d.client.post(
            f"/api{d.room}/check-units", json={"setting_id": d.bench.high_setting_id, "valid_from": "2026-01-01"}
        ),
    ),
    "POST /loggers/add": ("logger", lambda d: d.post("/loggers/add", logger="Logger B")),
    "POST /loggers/{logger_id}/edit": (
        "logger",
        lambda d: d.post(f"/loggers/{d.bench.logger_id}/edit", logger="Logger A", principle="laser"),
    ),
    "POST /api/logger-checks": ("logger", _check_by_api),
    "POST /logger-checks/{check_id}/take-back": ("logger", lambda d: d.post("/logger-checks/1/take-back")),
    "POST /logger-checks/add": ("logger", _check),
    "POST /smoke-sources/add": (
        "smoke source",
        lambda d: d.post("/smoke-sources/add", smoke_source="salt", aerosol="dust"),
    ),
    "POST /smoke-sources/{source_id}/edit": (
        "smoke source",
        lambda d: d.post(
            f"/smoke-sources/{d.bench.smoke_source_id}/edit", smoke_source="two sticks of incense", aerosol="smoke"
        ),
    ),
    "POST /tariffs": ("tariff", lambda d: d.post("/tariffs", **_TARIFF)),
    "POST /tariffs/reference": ("tariff", lambda d: d.post("/tariffs/reference")),
    "POST /bench": ("bench", _bench),
    "POST /accounts": ("account", lambda d: d.post("/accounts", name="Bea", role="add", password=PASSWORD)),
    "POST /accounts/{account_id}/role": ("account", lambda d: d.post("/accounts/2/role", role="edit")),
    "POST /accounts/{account_id}/password": ("account", lambda d: d.post("/accounts/2/password", password=PASSWORD)),
    "POST /accounts/{account_id}/disable": ("account", lambda d: d.post("/accounts/2/disable")),
    "POST /accounts/{account_id}/enable": ("account", lambda d: d.post("/accounts/2/enable")),
    "POST /account/tokens": ("account", lambda d: d.post("/account/tokens", token_name="job", role="view")),
    "POST /account/tokens/{token_id}/revoke": ("account", lambda d: d.post("/account/tokens/1/revoke")),
    "POST /accounts/{account_id}/tokens/{token_id}/revoke": ("account", lambda d: _revoke_of_another(d)),
    "POST /account/password": ("account", lambda d: d.post("/account/password", **_PASSWORDS)),
}


def _revoke_of_another(desk: Desk) -> Response:
    desk.post("/account/tokens", token_name="another job", role="view")
    return desk.post("/accounts/1/tokens/2/revoke")


def test_every_route_that_changes_something_is_carried_out_here():
    changing = {route for route in LEAST_ROLE if not route.startswith("GET ")}
    assert changing - ACTS.keys() - STORES_NOTHING_OF_THE_BENCH == set()
    assert ACTS.keys() - changing == set()


@pytest.fixture
def desk(client: TestClient, store: Engine, small_bench: SmallBench) -> Desk:
    with session_scope(store) as session:
        make_account(session, "Ann")
    assert client.post("/sign-in", data={"name": "Ann", "password": PASSWORD}).status_code == 303
    return Desk(client, small_bench, store)


def test_every_change_is_recorded_under_the_name_of_the_account(desk: Desk, store: Engine, subtests):
    for route, (subject, act) in ACTS.items():
        if route == "POST /account/password":  # the last, which ends the sign-in
            _history_stands_on_the_page_of_the_thing_changed(desk, subtests)
        with subtests.test(route=route):
            before = _records(store)
            answer = act(desk)
            assert answer.status_code in (200, 201, 303), answer.text[-300:]
            new = _records(store)[len(before) :]
            assert subject in {change.subject for change in new}
            assert {change.who for change in new} == {"Ann"}
            for change in new:
                assert change.action
                assert change.before != change.after or change.before is None
    assert route == "POST /account/password"


def test_what_is_only_tried_out_leaves_no_record(desk: Desk, store: Engine):
    before = len(_records(store))
    address = upload(desk.client, decay_log(6.0, minutes=30)).split("?")[0]
    assert desk.client.post(f"{address}/discard").status_code == 303
    assert desk.client.post("/bulk", files={"table": ("u.csv", b"maker,model\nM,1\n", "text/csv")}).status_code == 200
    assert desk.client.post("/sign-out").status_code == 303
    assert len(_records(store)) == before


PAGES = {
    "trial": "/trials/1",
    "unit": "/units/1/edit",
    "room": "/rooms/1/edit",
    "logger": "/loggers/1/edit",
    "smoke source": "/smoke-sources/1/edit",
    "tariff": "/tariffs",
    "bench": "/bench",
    "account": "/accounts/2",
}


def test_the_history_of_a_logger_profile_stands_on_the_page_of_the_loggers(desk: Desk):
    address = upload(desk.client, decay_log(6.0, minutes=30)).split("?")[0]
    kept = conditions(desk.bench, profile_name="Dust meter", timezone="Europe/Berlin", why="a reason")
    assert desk.client.post(address, data=kept).status_code == 303
    history = desk.client.get("/loggers").text.split("Profile history</h2>", 1)[1]
    assert "<td>Ann</td>" in history
    assert "Europe/Berlin" in history


def _history_stands_on_the_page_of_the_thing_changed(desk: Desk, subtests) -> None:
    """Ratings, claims, measurements, prices and consumables are on the page of their unit."""
    for thing, path in PAGES.items():
        with subtests.test(thing=thing):
            page = desk.client.get(path).text
            assert "History</h2>" in page
            assert "<td>Ann</td>" in page.split("History</h2>", 1)[1]
    history = desk.client.get("/units/1/edit").text.split("History</h2>", 1)[1]
    for words in (
        "rating was added",
        "claim was removed",
        "sound level was added",
        "power was added",
        "ozone was added",
    ):
        assert words in history
    assert 'href="/changes?unit=1"' in desk.client.get("/units/1").text


def _records(store: Engine) -> list[Change]:
    with session_scope(store, writes=False) as session:
        return list(session.scalars(select(Change).order_by(Change.id)))
