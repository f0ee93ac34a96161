"""Several people add trials at the same time: each waits for its turn, and nothing is lost."""

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

from sqlalchemy import Engine, func, select

from app.errors import AlreadyStored
from app.services.adding_trials.add import add_trial
from app.services.units.cursor_lists import list_rooms
from app.storage.engine import session_scope
from app.storage.models.logs import RawFile
from app.storage.models.summaries import SettingSummary
from app.storage.models.trials import ChannelResult, Trial
from tests.conftest import NOW, SmallBench, decay_log
from tests.services.adding_trials.test_add import empty, running

WRITERS = 4
TRIALS_EACH = 4


def test_no_trial_is_lost_among_several_writers(store: Engine, small_bench: SmallBench):
    def write(writer: int) -> None:
        for number in range(TRIALS_EACH):
            seed = writer * 100 + number
            log = decay_log(4.0, minutes=30, seed=seed, started_at=NOW + timedelta(days=seed))
            asked = empty(small_bench) if number == 0 else running(small_bench)
            with session_scope(store) as session:
                list_rooms(session)  # reads first, as a request does
                add_trial(session, log, f"{seed}.csv", asked)

    with ThreadPoolExecutor(WRITERS) as pool:
        for done in [pool.submit(write, writer) for writer in range(WRITERS)]:
            done.result()
    with session_scope(store, writes=False) as session:
        assert session.scalar(select(func.count()).select_from(Trial)) == WRITERS * TRIALS_EACH
        assert session.scalar(select(func.count()).select_from(ChannelResult)) == 3 * WRITERS * TRIALS_EACH
        summary = session.scalars(select(SettingSummary).where(SettingSummary.channel == "pm2_5")).one()
        assert summary.trials == WRITERS * (TRIALS_EACH - 1)


def test_the_same_log_sent_by_several_at_once_is_stored_once(store: Engine, small_bench: SmallBench):
    content = decay_log(4.0, minutes=30)

    def send(_number: int) -> bool:
        try:
            with session_scope(store) as session:
                add_trial(session, content, "run.csv", running(small_bench))
            return True
        except AlreadyStored:
            return False

    with ThreadPoolExecutor(WRITERS) as pool:
        stored = list(pool.map(send, range(WRITERS)))
    assert stored.count(True) == 1
    with session_scope(store, writes=False) as session:
        assert session.scalar(select(func.count()).select_from(Trial)) == 1
        assert session.scalar(select(func.count()).select_from(RawFile)) == 1


def test_a_reader_never_waits_for_a_writer(store: Engine, small_bench: SmallBench):
    with session_scope(store) as writing:
        add_trial(writing, decay_log(4.0, minutes=30), "run.csv", running(small_bench))
        with session_scope(store, writes=False) as reading:  # in the middle of the other's transaction
            assert reading.scalar(select(func.count()).select_from(Trial)) == 0
    with session_scope(store, writes=False) as reading:
        assert reading.scalar(select(func.count()).select_from(Trial)) == 1
