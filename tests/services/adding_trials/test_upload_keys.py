"""Keys of uploads: stored for a stated time, independent of the order of fields."""

from datetime import timedelta

import pytest
from sqlalchemy.orm import Session

from app.errors import UploadRepeated
from app.services.adding_trials.add import add_trial
from app.services.adding_trials.upload_keys import KEPT_FOR, digest_of_upload, keep_key, trial_of_key
from app.services.logs.trial_fields import NewTrial
from app.services.logs.trial_kinds import EMPTY_ROOM
from tests.conftest import NOW, SmallBench, decay_log

DIGEST, OTHER = digest_of_upload(b"log", {"a": 1, "b": None}), digest_of_upload(b"log", {"a": 2, "b": None})


def test_a_key_is_known_for_thirty_days(session: Session, small_bench: SmallBench):
    log = decay_log(0.6, minutes=60, interval_s=60)
    trial_id = add_trial(session, log, "a.csv", NewTrial(kind=EMPTY_ROOM, room_id=small_bench.room_id))
    keep_key(session, "key", DIGEST, trial_id, NOW)
    assert trial_of_key(session, "key", DIGEST) == trial_id
    with pytest.raises(UploadRepeated, match=f"Trial {trial_id} was saved from this upload with another file"):
        trial_of_key(session, "key", OTHER)
    keep_key(session, "last day", DIGEST, trial_id, NOW + KEPT_FOR)
    assert trial_of_key(session, "key", DIGEST) == trial_id
    keep_key(session, "", DIGEST, trial_id, NOW + KEPT_FOR + timedelta(seconds=1))
    assert trial_of_key(session, "key", DIGEST) is None
    assert trial_of_key(session, "last day", DIGEST) == trial_id
    assert timedelta(days=30) == KEPT_FOR


def test_no_key_is_never_known(session: Session):
    assert trial_of_key(session, "", DIGEST) is None


def test_the_digest_follows_file_and_fields_and_not_their_order():
    assert digest_of_upload(b"log", {"b": None, "a": 1}) == DIGEST
    assert len({DIGEST, OTHER, digest_of_upload(b"gol", {"a": 1, "b": None})}) == 3
