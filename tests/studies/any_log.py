"""Ten thousand files as logs: damaged real-shaped ones, made ones, hostile ones. Each is read or refused, in what time
and memory; one in so many also goes through the upload into a store, which has to be sound afterwards.

python -m tests.studies.any_log 10000 1    # two thirds damaged, a third made by Hypothesis; then the hostile files
"""

import random
import resource
import sys
import tempfile
import time
import warnings
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import seed as with_seed
from hypothesis import strategies as st

from app.errors import UnreadableLog
from app.reading_files.read_log import read_log
from app.services.bench.definitions import NewRoom
from app.services.bench.rooms import add_room
from app.services.store.check import check_store
from app.services.store.open import open_store
from app.settings import Settings
from app.storage.engine import session_scope
from app.web.application import make_app
from tests.reading_files.hostile.hostile_files import HOSTILE
from tests.reading_files.hostile.mutated_logs import SEEDS, mutate
from tests.reading_files.hostile.test_any_bytes import ODD_CELLS, check_promises
from tests.sample_data.local_access import local_browser
from tests.web.pages.adding_a_trial.any_upload import STORED, Uploads

STORED_ONE_IN = 10


@dataclass
class Tally:
    """What became of the inputs so far."""

    uploads: Uploads
    became: Counter[str] = field(default_factory=Counter)
    slowest: tuple[float, str] = (0.0, "")
    slowest_stored: tuple[float, str] = (0.0, "")

    def take(self, what: str, content: bytes, *, store: bool) -> None:
        begun = time.perf_counter()
        try:
            check_promises(read_log(content, "log.csv"))
            self.became["read"] += 1
        except UnreadableLog as problem:
            _hold_as_a_message(problem.message)
            self.became["refused"] += 1
        except BaseException:
            print(f"failed at: {what}")
            raise
        self.slowest = max(self.slowest, (time.perf_counter() - begun, what))
        if not store:
            return
        begun = time.perf_counter()
        try:
            self.uploads.send(content)
            if sum(self.uploads.by_api.values()) % 5 == 0:
                self.uploads.preview(content)
        except BaseException:
            print(f"failed in the upload of: {what}")
            raise
        self.slowest_stored = max(self.slowest_stored, (time.perf_counter() - begun, what))


def _hold_as_a_message(message: str) -> None:
    assert message.isprintable(), message
    assert len(message) > 40, message


def damaged(tally: Tally, inputs: int, seed: int) -> None:
    chance, names = random.Random(seed), sorted(SEEDS)
    for number in range(inputs):
        name = chance.choice(names)
        numbers = [chance.randrange(2**32) for _ in range(chance.randrange(1, 7))]
        tally.take(f"{name} with {numbers}", mutate(SEEDS[name], numbers), store=number % STORED_ONE_IN == 0)


def made(tally: Tally, inputs: int, seed: int) -> None:
    cells = st.one_of(st.sampled_from(ODD_CELLS), st.text(max_size=12), st.floats().map(str))
    tables = st.lists(st.lists(cells, min_size=1, max_size=6), min_size=1, max_size=10)
    contents = st.one_of(
        st.binary(max_size=2000),
        st.tuples(tables, st.sampled_from([",", ";", "\t", " ", "|"])).map(
            lambda made: "\n".join(made[1].join(row) for row in made[0]).encode("utf-8", "surrogatepass")
        ),
    )
    number = 0

    @with_seed(seed)
    @settings(max_examples=inputs, deadline=None, database=None, suppress_health_check=[*HealthCheck])
    @given(content=contents)
    def each(content: bytes) -> None:
        nonlocal number
        number += 1
        tally.take(repr(content[:80]), content, store=bool(content) and number % STORED_ONE_IN == 0)

    each()


def run(inputs: int, seed: int = 1) -> None:
    """Prints what became of the inputs; stops at the first that is neither read nor refused as it should be."""
    warnings.simplefilter("error")
    warnings.filterwarnings("ignore", message="Using `httpx` with `starlette.testclient` is deprecated")
    begun = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        bench = Settings(Path(folder))
        engine = open_store(bench)
        with session_scope(engine) as session:
            add_room(session, NewRoom(name="Room A", room_volume_m3=30.0))
        with local_browser(make_app(bench), bench, follow_redirects=False) as client:
            tally = Tally(Uploads(client))
            damaged(tally, inputs * 2 // 3, seed)
            made(tally, inputs - inputs * 2 // 3, seed)
            before_hostile = _most_memory_mb()
            for what, make in HOSTILE.items():
                tally.take(what, make(), store=True)
        checked = check_store(engine)
        engine.dispose()
    uploads = tally.uploads
    assert checked.sound, checked.findings
    assert checked.counted["trials"] == uploads.by_api[STORED]
    print(f"{sum(tally.became.values())} files: {tally.became['read']} read, {tally.became['refused']} refused")
    print(f"slowest to read or refuse: {tally.slowest[0]:.2f} s ({tally.slowest[1][:80]})")
    print(
        f"{sum(uploads.by_api.values())} of them sent to the API: {uploads.by_api[201]} stored, "
        f"{uploads.by_api[409]} there already, {uploads.by_api[422]} refused, 0 errors of the server; "
        f"{sum(uploads.by_page.values())} sent to the page: {uploads.by_page['shown']} shown, "
        f"{uploads.by_page['refused']} refused"
    )
    print(f"slowest upload: {tally.slowest_stored[0]:.2f} s ({tally.slowest_stored[1][:80]})")
    print(f"store afterwards: {checked.counted['trials']} trials, {checked.counted['raw_files']} raw files, sound")
    print(f"most memory of the process: {before_hostile:.0f} MB, with the hostile files {_most_memory_mb():.0f} MB")
    print(f"it took {time.perf_counter() - begun:.0f} s")


def _most_memory_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


if __name__ == "__main__":
    run(*(int(told) for told in sys.argv[1:3] or ("10000",)))
