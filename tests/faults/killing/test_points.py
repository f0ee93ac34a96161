"""kill -9 in the windows that random kills hardly meet, each followed by `hazefall check`."""

import json
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from app.command_line.main import run
from app.services.publishing.site_folder import MANIFEST, SiteFolder
from app.services.store.backup import backup_store, restore_store, verify_copy
from app.services.store.open import open_store
from app.settings import Settings
from app.web.application import make_app
from tests.conftest import decay_log, sqlite_only
from tests.faults.bench_under_load import make_bench
from tests.faults.killing.older_store import make_older_store, revision_of, rows_of_each_table
from tests.faults.killing.points import killed
from tests.faults.whole_store import ask, change, faults_of
from tests.sample_data.local_access import local_browser
from tests.storage.migrated import REVISIONS

pytestmark = sqlite_only

LOG = decay_log(4.0, minutes=30, interval_s=30)
ABOUT = {"kind": "unit running", "room_id": "1", "unit_under_test_id": "1", "setting": "high"}
KEY = {"Idempotency-Key": "night 1"}
WRITTEN, NAMED = "app.storage.durable_files:sync_file", "app.storage.durable_files:sync_folder"


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A bench without trials. For copying only."""
    folder = tmp_path_factory.mktemp("empty") / "bench"
    make_bench(folder)
    return folder


@pytest.fixture(scope="module")
def filled(empty: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A bench with one trial. For copying only."""
    folder = Path(shutil.copytree(empty, tmp_path_factory.mktemp("filled") / "bench"))
    with browser(Settings(folder)) as client:
        assert send(client).status_code == 201
    return folder


@pytest.fixture
def settings(empty: Path, tmp_path: Path) -> Settings:
    return Settings(Path(shutil.copytree(empty, tmp_path / "bench")))


@pytest.fixture
def with_trial(filled: Path, tmp_path: Path) -> Settings:
    return Settings(Path(shutil.copytree(filled, tmp_path / "bench")))


@pytest.fixture
def checked(capsys: pytest.CaptureFixture[str]) -> Callable[[Settings], None]:
    """Runs `hazefall check`, and the independent questions to the file."""

    def check(settings: Settings) -> None:
        status = run(["check", "--data", str(settings.data_folder)])
        assert status == 0, capsys.readouterr()
        assert faults_of(settings.data_folder / "bench.sqlite") == []

    return check


def browser(settings: Settings) -> TestClient:
    return local_browser(make_app(settings), settings, follow_redirects=False)


def send(client: TestClient, **headers: str) -> Any:
    return client.post("/api/trials", files={"log": ("run.csv", LOG, "text/csv")}, data=ABOUT, headers=headers)


def sending(settings: Settings, **headers: str) -> Callable[[], None]:
    def act() -> None:
        with browser(settings) as client:
            send(client, **headers)

    return act


def trials(settings: Settings) -> int:
    return int(ask(settings.data_folder / "bench.sqlite", "SELECT count(*) FROM trials")[0][0])


def _writes(session: Any) -> bool:
    return bool(session.get_bind().get_execution_options().get("writes"))


def test_killed_before_the_commit_nothing_is_stored(settings: Settings, checked):
    killed(sending(settings), "sqlalchemy.orm:Session.commit", when=_writes)
    checked(settings)
    assert trials(settings) == 0


def test_killed_between_commit_and_answer_the_repeat_finds_the_trial(settings: Settings, checked):
    def created(response: Any, *_: Any) -> bool:
        return response.status_code == 201

    killed(sending(settings, **KEY), "starlette.responses:Response.__call__", when=created)
    checked(settings)
    assert trials(settings) == 1
    with browser(settings) as client:
        again = send(client, **KEY)
        assert (again.status_code, again.json()["id"]) == (201, 1)
        without = send(client)
        assert without.status_code == 409
        assert "is trial 1, which already exists" in without.json()["detail"]
    assert trials(settings) == 1


@pytest.mark.parametrize("point", [WRITTEN, NAMED], ids=["before its name", "after its name"])
def test_killed_while_an_upload_is_staged_it_waits_whole_or_not_at_all(settings: Settings, checked, point: str):
    def stage() -> None:
        with browser(settings) as client:
            client.post("/trials/add", files={"log": ("run.csv", LOG, "text/csv")})

    killed(stage, point, after=point == WRITTEN)
    checked(settings)
    whole = list((settings.data_folder / "uploads").glob("*.log"))
    assert [path.read_bytes() for path in whole] == ([LOG] if point == NAMED else [])
    with browser(settings) as client:
        for path in whole:
            assert client.get(f"/trials/add/{path.stem}").status_code == 200


def test_killed_before_the_confirmed_file_is_removed_the_form_leads_to_its_trial(settings: Settings, checked):
    with browser(settings) as client:
        address = client.post("/trials/add", files={"log": ("run.csv", LOG, "text/csv")}).headers["location"]
    form = ABOUT | {"setting": "high"}

    def confirm() -> None:
        with browser(settings) as client:
            client.post(address, data=form)

    killed(confirm, "app.web.pages.adding_a_trial.preview:discard_upload")
    checked(settings)
    assert trials(settings) == 1
    with browser(settings) as client:
        assert client.post(address, data=form).headers["location"] == "/trials/1"
    assert trials(settings) == 1


@pytest.mark.parametrize("point", [WRITTEN, NAMED], ids=["before its name", "after its name"])
def test_a_backup_has_its_name_only_when_it_is_whole(with_trial: Settings, checked, point: str, tmp_path: Path):
    copy = tmp_path / "copy.sqlite"
    killed(lambda: backup_store(with_trial, copy), point, after=point == WRITTEN)
    checked(with_trial)
    assert copy.exists() == (point == NAMED)
    if copy.exists():
        assert verify_copy(copy)["trials"] == 1
    else:
        assert backup_store(with_trial, copy).rows["trials"] == 1


RESTORING = {
    "before the store has a second name": ("app.services.store.backup:_take_in_log", True),
    "with two names": ("app.services.store.backup:put_in_place", False),
    "before the copy is in its place": (WRITTEN, True),
    "with the copy in its place": (NAMED, False),
}


@pytest.mark.parametrize(("point", "after"), RESTORING.values(), ids=RESTORING)
def test_killed_while_it_is_restored_a_store_is_the_old_or_the_new_one(
    with_trial: Settings, checked, tmp_path: Path, point: str, after: bool
):
    copy = tmp_path / "copy.sqlite"
    backup_store(with_trial, copy)
    store = with_trial.data_folder / "bench.sqlite"
    with closing(sqlite3.connect(store)) as connection:
        connection.execute("UPDATE bench SET name = 'after the copy'")
        connection.commit()
    killed(lambda: restore_store(with_trial, copy, overwrite=True), point, after=after)
    checked(with_trial)
    is_new = ask(store, "SELECT name FROM bench") != [("after the copy",)]
    assert is_new == (point == NAMED)
    if is_new:  # and the old one is kept
        kept = next(with_trial.data_folder.glob("bench.sqlite.replaced-*[0-9]"))
        assert ask(kept, "SELECT name FROM bench") == [("after the copy",)]
    restore_store(with_trial, copy, overwrite=True)
    checked(with_trial)
    assert trials(with_trial) == 1


_STEP = "alembic.runtime.migration:HeadMaintainer.update_to_step"
MIGRATING = {
    "before the copy": ("app.services.store.open:_copy_before", 1, False),
    "before the copy has its name": (WRITTEN, 1, True),
    "after the first step": (_STEP, 1, True),
    "between two steps": (_STEP, 5, True),
    "before the commit": ("app.services.store.open:_run_migrations", 1, True),
    "after the commit": ("app.services.store.open:open_engine", 1, False),
}


@pytest.fixture(scope="module")
def older(filled: Path) -> Path:
    path = filled.with_name("older.sqlite")
    make_older_store(filled / "bench.sqlite", path, REVISIONS[0])
    return path


@pytest.mark.parametrize(("point", "nth", "after"), MIGRATING.values(), ids=MIGRATING)
def test_killed_between_steps_of_a_migration_the_store_is_old_and_then_new(
    older: Path, tmp_path: Path, checked, point: str, nth: int, after: bool
):
    settings = Settings(tmp_path)
    store = Path(shutil.copyfile(older, tmp_path / "bench.sqlite"))
    rows = rows_of_each_table(store)
    killed(lambda: open_store(settings), point, nth=nth, after=after)
    finished = point.endswith("open_engine")
    assert revision_of(store) == REVISIONS[-1 if finished else 0]
    if not finished:
        assert rows_of_each_table(store) == rows
    checked(settings)  # opens the store, which carries the migration out
    assert revision_of(store) == REVISIONS[-1]
    assert {name: rows_of_each_table(store)[name] for name in rows} == rows
    for copy in tmp_path.glob("bench.sqlite.before-*"):
        assert revision_of(copy) == REVISIONS[0]
        assert rows_of_each_table(copy) == rows


@pytest.mark.parametrize("after", [False, True], ids=["before the commit", "after the commit"])
def test_killed_while_all_trials_are_analysed_again_the_results_are_all_old_or_all_new(
    with_trial: Settings, checked, after: bool
):
    store = with_trial.data_folder / "bench.sqlite"
    rates = "SELECT channel, total_decay_per_h FROM channel_results WHERE total_decay_per_h IS NOT NULL"
    right = dict(ask(store, rates))
    change(store, "UPDATE channel_results SET total_decay_per_h = total_decay_per_h * 1.5")
    recompute = ["recompute", "--accept", "--workers", "1", "--data", str(with_trial.data_folder)]
    # the first commit is that of the plan, which rolls everything back
    killed(lambda: run(recompute), "sqlalchemy.orm:Session.commit", after=after, nth=2, when=_writes)
    checked(with_trial)
    expected = right if after else {channel: 1.5 * rate for channel, rate in right.items()}
    assert dict(ask(store, rates)) == pytest.approx(expected, rel=1e-9)
    recorded = ask(store, "SELECT count(*) > 0 FROM changes WHERE action = 'recomputed'")
    assert recorded == [(after,)]


@pytest.mark.parametrize("nth", [1, 2], ids=["while there is no folder", "with the new folder in place"])
def test_killed_while_a_site_is_swapped_in_the_next_run_finds_a_whole_one(tmp_path: Path, nth: int):
    def write(words: bytes) -> None:
        site = SiteFolder(tmp_path / "site")
        site.put("index.html", words)
        site.add_beside(MANIFEST, json.dumps({"files": site.files}).encode())
        site.swap()

    write(b"first")
    killed(lambda: write(b"second"), "pathlib:Path.rename", nth=nth, after=True)
    SiteFolder(tmp_path / "site").discard()
    assert (tmp_path / "site" / "index.html").read_bytes() == (b"first" if nth == 1 else b"second")
    assert [path.name for path in tmp_path.iterdir()] == ["site"]


def test_a_point_that_is_never_reached_fails_the_test():
    with pytest.raises(AssertionError, match="was called less than 1 times"):
        killed(lambda: None, WRITTEN)
