"""Whatever is sent as a log is stored completely or rejected with a reason, through API and page, and leaves the store
sound. Some hundred here; `python -m tests.studies.any_log` sends more.
"""

import random

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine, func, select

from app.services.store.check import check_store
from app.storage.engine import session_scope
from app.storage.models.logs import RawFile
from app.storage.models.trials import Trial
from tests.conftest import SmallBench
from tests.reading_files.hostile.hostile_files import HOSTILE
from tests.reading_files.hostile.mutated_logs import SEEDS, mutate
from tests.web.pages.adding_a_trial.any_upload import STORED, Uploads

# the others take long to make or to send, and are read in tests/reading_files/hostile/test_hostile_files.py
_LARGE = ("bomb", "million", "columns", "30 MB", "never closed", "lines of a thousand")
SMALL = [what for what in HOSTILE if not any(words in what for words in _LARGE)]


def test_damaged_logs_are_stored_whole_or_refused(client: TestClient, small_bench: SmallBench, store: Engine):
    uploads, chance = Uploads(client), random.Random(4)
    for number in range(100):
        seed = chance.choice(sorted(SEEDS))
        content = mutate(SEEDS[seed], [chance.randrange(2**32) for _ in range(chance.randrange(1, 5))])
        uploads.send(content)
        if number % 5 == 0:
            uploads.preview(content)
    assert uploads.by_api[STORED] > 20
    assert uploads.by_api[422] > 20
    assert uploads.by_page["shown"] > 0
    with session_scope(store, writes=False) as session:
        assert session.scalar(select(func.count()).select_from(Trial)) == uploads.by_api[STORED]
        assert (session.scalar(select(func.count()).select_from(RawFile)) or 0) <= uploads.by_api[STORED]
    assert check_store(store).sound


@pytest.mark.parametrize("what", SMALL)
def test_a_hostile_file_is_stored_whole_or_refused(client: TestClient, small_bench: SmallBench, what: str):
    uploads, content = Uploads(client), HOSTILE[what]()
    uploads.send(content, "hostile.xlsx" if content.startswith(b"PK") else "hostile.csv")
    uploads.preview(content)
