"""A migrated store in a fresh file for each test, and a small bench for trials."""

import gc
import math
import os
import shutil
import tempfile
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache, partial
from multiprocessing.util import Finalize
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from _pytest.doctest import DoctestModule
from sqlalchemy import Engine, NullPool, create_engine
from sqlalchemy.orm import Session

from app.services.store.open import open_store
from app.settings import Settings
from app.storage.engine import session_scope
from app.storage.models.loggers import Logger, SmokeSource
from app.storage.models.rooms import Room
from app.storage.models.units_under_test import Price, SpeedSetting, UnitUnderTest
from app.web.process.gc_settings import freeze_startup_objects
from seed_demo.build import build_demo
from tests.sample_data.lent_databases import LentDatabases
from tests.sample_data.made_once import made_once, make_demo_site, make_demo_store, make_empty_store
from tests.sample_data.remembered_decays import remember_decays, remember_in
from tests.sample_data.shared_statements import share_compiled_statements

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


# Address of a PostgreSQL server on which the tests may make databases; unset: every store is a SQLite file.
POSTGRESQL = os.environ.get("HAZEFALL_TEST_POSTGRESQL", "")
# What runs on both kinds of store, each test twice, where such a server is there: what a database server could break.
# That is types and binary content, transactions and savepoints, uniqueness and order, writers at one moment, and one
# pass over each page and each answer for scripts. With HAZEFALL_TEST_ALL_ON_POSTGRESQL set, everything on a store does.
ON_BOTH = (
    "tests/storage/",
    "tests/services/store/",
    "tests/services/snapshot/",
    "tests/services/access/test_sign_in.py",
    "tests/services/adding_trials/test_concurrent_writers.py",
    "tests/services/adding_trials/test_add.py",
    "tests/services/adding_trials/test_staged_uploads.py",
    "tests/services/adding_trials/live_runs/test_finish.py",
    "tests/services/bench/test_search.py",
    "tests/services/bulk/test_entry.py::test_every_kind_of_fact_is_stored_once",
    "tests/services/bulk/test_entry.py::test_storing_does_what_the_preview_said",
    "tests/services/bulk/test_entry.py::test_a_line_may_lean_on_one_before_it_and_a_refused_one_leaves_nothing",
    "tests/services/bulk/test_entry.py::test_counts_beyond_the_store_are_refused_by_line",
    "tests/services/history/test_reader_news.py",
    "tests/services/logs/test_readings.py",
    "tests/services/measurements/test_sound_clips.py::test_a_clip_is_kept_byte_for_byte_with_its_results",
    "tests/services/ranking/test_table.py::test_every_column_can_be_sorted_by",
    "tests/services/ranking/test_table.py::test_a_change_of_what_all_units_share_reaches_every_line",
    "tests/services/results/test_recompute.py",
    "tests/services/results/test_summaries.py",
    "tests/services/reviews/test_verdicts.py",
    "tests/services/trials/test_marks.py",
    "tests/services/trials/test_trash.py",
    "tests/services/units/",
    "tests/web/pages/ranking/test_commit_between_reads.py",
    "tests/web/api/runs/test_routes.py",
    "tests/web/api/test_trials.py::test_the_list_pages_from_the_newest",
    "tests/web/api/test_units.py::test_the_list_pages_without_gaps_or_repeats",
    "tests/web/process/test_several_machines.py",
    "tests/web/process/test_several_processes.py::test_changes_through_both_at_once_are_all_stored",
    "tests/web/security/test_every_change_is_recorded.py",
    "tests/web/test_every_route.py",
    "tests/web/test_problems.py::test_a_commit_that_fails",
    "tests/web/test_problems.py::test_a_read_only_store",
    "tests/web/test_problems.py::test_names_beyond_ascii",
    "tests/web/test_problems.py::test_the_second_of_two_requests_at_once",
    "tests/web/test_problems.py::test_a_value_that",
    "tests/web/test_problems.py::test_a_name_with_nul",
)
if os.environ.get("HAZEFALL_TEST_ALL_ON_POSTGRESQL"):
    ON_BOTH = ("tests/storage/", "tests/services/", "tests/web/")

# The heart of the program, for use while editing: `pytest -m quick` takes less than a minute.
QUICK = (
    "app/compute/",
    "tests/compute/",
    "tests/published/",
    "tests/house/test_changes_recorded.py",
    "tests/house/test_documentation.py",
    "tests/house/test_floors.py",
    "tests/house/test_kinds_of_tests.py",
    "tests/house/test_templates.py",
    "tests/reading_files/headers/",
    "tests/reading_files/test_layouts.py",
    "tests/reading_files/test_refusals.py",
    "tests/reading_files/test_times.py",
    "tests/services/adding_trials/test_add.py",
    "tests/services/ranking/test_table.py",
    "tests/services/trials/test_marks.py",
    "tests/web/test_reading_pages.py::test_every_page_is_well_made",
    "tests/web/test_reading_pages.py::test_a_change_is_seen_at_once",
)

# What waits for a browser, a server or another process, or takes long: spread over the first part of a run on several
# workers. The examples of `app/`, of which each file takes a moment, come last.
WAITING = (
    "tests/command_line/",
    "tests/faults/",
    "tests/properties/",
    "tests/reading_files/hostile/",
    "tests/seed_demo/test_build.py",
    "tests/services/adding_trials/live_runs/test_kills.py",
    "tests/services/results/test_recompute.py",
    "tests/services/store/test_read_only_folder.py",
    "tests/storage/",
    "tests/web/api/test_openapi_fuzz.py",
    "tests/web/browser/",
    "tests/web/pages/adding_a_trial/test_any_upload.py",
    "tests/web/pages/adding_a_trial/test_large_upload.py",
    "tests/web/process/",
    "tests/web/published/",
    "tests/web/security/",
)
_FIRST_SHARE = 0.35  # of the files, in which those stand

sqlite_only = pytest.mark.sqlite_only


def pytest_xdist_auto_num_workers() -> int | None:
    """With `-n auto`: one worker more than processors, because many tests wait for a browser or a server."""
    if os.environ.get("PYTEST_XDIST_AUTO_NUM_WORKERS"):
        return None  # as it was asked for
    return len(os.sched_getaffinity(0)) + 1 if hasattr(os, "sched_getaffinity") else None


MEMORY = Path("/dev/shm")
_ROOM_BYTES = 4_000_000_000


def pytest_configure(config: pytest.Config) -> None:
    """Puts the temporary files of a run into memory where there is room: on a disk the tests wait at each commit. And
    what a worker or a server has compiled is kept for the others, whatever the environment says."""
    if "PYTEST_XDIST_WORKER" in os.environ:
        return
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    if config.option.basetemp or not MEMORY.is_dir():
        return
    if shutil.disk_usage(MEMORY).free > _ROOM_BYTES:
        folder = tempfile.mkdtemp(prefix="hazefall-tests.", dir=MEMORY)
        os.chmod(folder, 0o711)  # some tests run the program as a user who may not write
        Finalize(None, partial(shutil.rmtree, folder, ignore_errors=True), exitpriority=-1_000)  # after all others
        os.environ["TMPDIR"] = tempfile.tempdir = folder


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Iterator[None]:
    """Nothing that is collected goes away again, so there is no garbage to look for."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.enable()


@pytest.hookimpl(wrapper=True)
def pytest_collect_file(file_path: Path) -> Iterator[list[pytest.Collector]]:
    """Only a file that has an example is searched for examples."""
    found: list[pytest.Collector] = yield
    if not any(isinstance(one, DoctestModule) for one in found) or b">>> " in file_path.read_bytes():
        return found
    return [one for one in found if not isinstance(one, DoctestModule)]


def pytest_collection_finish() -> None:
    """What was imported stays, as in a started server; without this the garbage collector looks through all of it
    again and again, a sixth of the processor time of the tests of services and pages."""
    freeze_startup_objects()
    share_compiled_statements()
    remember_decays()


def pytest_runtest_setup(item: pytest.Item) -> None:
    remember_in(item.nodeid)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Marks what is quick, by folder and file; a store is a SQLite file there. Several workers get the files in an
    order in which not all of them wait at a time, and none has a long one left at the end."""
    for item in items:
        if item.nodeid.startswith(QUICK) and "postgresql" not in item.nodeid:
            item.add_marker(pytest.mark.quick)
    if "PYTEST_XDIST_WORKER" in os.environ:
        files = list(dict.fromkeys(_file_of(item) for item in items))
        waiting = [file for file in files if file.startswith(WAITING)]
        computing = [file for file in files if not file.startswith(WAITING)]
        place: dict[str, float] = {file: number for number, file in enumerate(computing)}
        apart = _FIRST_SHARE * len(computing) / max(len(waiting), 1)
        place |= {file: number * apart for number, file in enumerate(waiting)}
        items.sort(key=lambda item: place[_file_of(item)])


def _file_of(item: pytest.Item) -> str:
    return item.nodeid.partition("::")[0]


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Each test of a store runs on SQLite and, where there is a server, on PostgreSQL."""
    if not POSTGRESQL or "kind_of_store" not in metafunc.fixturenames:
        return
    if not metafunc.definition.nodeid.startswith(ON_BOTH):
        return
    if metafunc.definition.get_closest_marker("sqlite_only"):
        return
    metafunc.parametrize("kind_of_store", ["sqlite", "postgresql"], indirect=True, scope="session")


@pytest.fixture(scope="session")
def kind_of_store(request: pytest.FixtureRequest) -> str:
    return str(getattr(request, "param", "sqlite"))


@pytest.fixture(scope="session")
def store_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store as the migrations leave it; each test gets a copy, because migrating takes longer than most tests."""
    return made_once(tmp_path_factory, "empty_store", make_empty_store) / "bench.sqlite"


@pytest.fixture(scope="session")
def demo_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The store of the small demonstration bench."""
    return made_once(tmp_path_factory, "demo_store", make_demo_store) / "bench.sqlite"


@pytest.fixture(scope="session")
def whole_demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The store of the whole demonstration bench. For reading only: all tests share it."""
    return made_once(tmp_path_factory, "whole_demo", partial(make_demo_store, small=False)) / "bench.sqlite"


@pytest.fixture(scope="session")
def demo_site(demo_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What is published of it. For reading only: all tests share it."""
    return made_once(tmp_path_factory, "demo_site", lambda folder: make_demo_site(demo_template, folder)) / "site"


@pytest.fixture(scope="session")
def database_template(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The same on PostgreSQL: name of a database that nobody is connected to."""
    with new_database() as url:
        open_store(Settings(tmp_path_factory.mktemp("database"), database_url=url)).dispose()
        yield url.rpartition("/")[2]


@pytest.fixture(scope="session")
def demo_database(database_template: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The small demonstration bench on PostgreSQL."""
    with new_database(template=database_template) as url:
        engine = open_store(Settings(tmp_path_factory.mktemp("demo_database"), database_url=url))
        build_demo(engine, small=True)
        engine.dispose()
        yield url.rpartition("/")[2]


@pytest.fixture
def templates() -> tuple[str, str]:
    """Names of the fixtures that the bench of a test is copied from: the SQLite file, and the PostgreSQL database."""
    return "store_template", "database_template"


@pytest.fixture
def settings(
    request: pytest.FixtureRequest, tmp_path: Path, kind_of_store: str, templates: tuple[str, str]
) -> Iterator[Settings]:
    """Settings of a bench with a migrated store, empty unless `templates` says otherwise."""
    folder = tmp_path / "bench"
    folder.mkdir()
    if kind_of_store == "sqlite":
        shutil.copyfile(request.getfixturevalue(templates[0]), folder / "bench.sqlite")
        yield Settings(folder)
        return
    lent_databases: LentDatabases = request.getfixturevalue("lent_databases")
    with lent_databases.lent(request.getfixturevalue(templates[1])) as url:
        yield Settings(folder, database_url=url)


@pytest.fixture(scope="session")
def lent_databases() -> Iterator[LentDatabases]:
    databases = LentDatabases(new_database)
    yield databases
    databases.close()


@pytest.fixture(scope="module")
def demo_settings(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory, kind_of_store: str
) -> Iterator[Settings]:
    """Settings of a small demonstration bench that all tests of a file share."""
    folder = tmp_path_factory.mktemp("demo_of_module")
    if kind_of_store == "sqlite":
        shutil.copyfile(request.getfixturevalue("demo_template"), folder / "bench.sqlite")
        yield Settings(folder)
        return
    with new_database(template=request.getfixturevalue("demo_database")) as url:
        yield Settings(folder, database_url=url)


def told_to_command(settings: Settings) -> list[str]:
    """The options that lead a command to this bench."""
    return [
        "--data",
        str(settings.data_folder),
        *(["--database", settings.database_url] if settings.database_url else []),
    ]


@contextmanager
def new_database(template: str = "template0") -> Iterator[str]:
    """Address of a new database on the server of the tests, which goes away with the block."""
    server = create_engine(POSTGRESQL, isolation_level="AUTOCOMMIT", poolclass=NullPool)
    name = f"hazefall_test_{uuid.uuid4().hex}"
    with server.connect() as connection:
        # page by page through the log, as it is done unasked since version 15, takes seven times as long
        how = " STRATEGY FILE_COPY" if (server.dialect.server_version_info or ()) >= (15,) else ""
        connection.exec_driver_sql(f"CREATE DATABASE {name} TEMPLATE {template}{how}")
        try:
            yield f"{POSTGRESQL.rpartition('/')[0]}/{name}"
        finally:
            connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def store(settings: Settings) -> Iterator[Engine]:
    engine = open_store(settings)
    yield engine
    engine.dispose()


@pytest.fixture
def session(store: Engine) -> Iterator[Session]:
    """A session that commits when the test ends."""
    with session_scope(store) as opened:
        yield opened


@dataclass(frozen=True)
class SmallBench:
    """Ids of one room of 30 m³, one logger, one smoke source and one unit with two settings."""

    room_id: int
    logger_id: int
    smoke_source_id: int
    unit_id: int
    low_setting_id: int
    high_setting_id: int


@pytest.fixture
def small_bench(store: Engine) -> SmallBench:
    with session_scope(store) as session:
        room = Room(
            name="Room A",
            length_m=4.0,
            width_m=3.0,
            height_m=2.5,
            room_volume_m3=30.0,
            room_volume_uncertainty_m3=0.5,
            furniture="a table and a chair",
            notes="",
        )
        logger = Logger(name="Logger A", principle="optical", calibration="", notes="")
        source = SmokeSource(name="incense", aerosol="smoke", notes="")
        unit = UnitUnderTest(
            maker="Maker A", model="Model 1", kind="mechanical filter", consumables_state="unknown", created_at=NOW
        )
        session.add_all([room, logger, source, unit])
        session.flush()
        low = SpeedSetting(unit_under_test_id=unit.id, name="low", position=1, is_highest=False)
        high = SpeedSetting(unit_under_test_id=unit.id, name="high", position=2, is_highest=True)
        price = Price(unit_under_test_id=unit.id, amount=199.0, currency="USD", seen_on=NOW.date(), source="price list")
        session.add_all([low, high, price])
        session.flush()
        return SmallBench(room.id, logger.id, source.id, unit.id, low.id, high.id)


@lru_cache(300)
def decay_log(
    decay_rate_per_h: float = 6.0,
    *,
    minutes: float = 60.0,
    interval_s: float = 10.0,
    background: float = 4.0,
    start_level: float = 300.0,
    before_min: float = 10.0,
    rise_min: float = 5.0,
    noise: float = 0.02,
    seed: int = 1,
    started_at: datetime = NOW,
    channels: tuple[str, ...] = ("PM1 [µg/m³]", "PM2.5 [µg/m³]", "PM10 [µg/m³]"),
    shares: tuple[float, ...] = (0.8, 1.0, 1.1),
) -> bytes:
    """A CSV log with a known answer: background, a rise over `rise_min`, then C = Cb + A exp(-k t) from its peak on.

    The peak, where the unit comes on, stands `before_min + rise_min` minutes after the first reading.
    """
    random = np.random.default_rng(seed)
    peak_min = before_min + rise_min
    lines = [",".join(["time", *channels])]
    for number in range(int((peak_min + minutes) * 60 / interval_s) + 1):
        minute = number * interval_s / 60
        if minute < before_min:
            excess = 0.0
        elif minute < peak_min:
            excess = (start_level - background) * (minute - before_min) / rise_min
        else:
            excess = (start_level - background) * math.exp(-decay_rate_per_h * (minute - peak_min) / 60)
        time = (started_at + timedelta(minutes=minute)).isoformat().replace("+00:00", "Z")
        levels = [(background + excess) * share * (1 + noise * random.standard_normal()) for share in shares]
        lines.append(",".join([time, *(f"{level:.2f}" for level in levels)]))
    return ("\n".join(lines) + "\n").encode()


@pytest.fixture
def make_log() -> Callable[..., bytes]:
    """`decay_log` of this file: a log with a known decay rate."""
    return decay_log


@pytest.fixture
def work_counted(monkeypatch: pytest.MonkeyPatch) -> dict[str, int]:
    """How often the test read a file and analysed a channel: `reads` and `analyses`."""
    from app.reading_files import read_log  # loaded when used: most tests need no pandas
    from app.services.results import analyse_channels

    counts = {"reads": 0, "analyses": 0}

    def count(module: Any, name: str, what: str) -> None:
        act: Callable[..., Any] = getattr(module, name)

        def counting(*args: Any, **named: Any) -> Any:
            counts[what] += 1
            return act(*args, **named)

        monkeypatch.setattr(module, name, counting)

    count(read_log, "open_lines", "reads")
    count(analyse_channels, "analyse_decay", "analyses")
    return counts
