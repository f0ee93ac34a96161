"""Numbers of trials that did not change since the edition before are taken from it."""

from dataclasses import replace

import pytest
from sqlalchemy.orm import Session

from app.services.adding_trials.add import add_trial
from app.services.logs.trial_fields import NewTrial
from app.services.publishing.numbers import trial_numbers as module
from app.services.publishing.numbers.of_bench import published_numbers
from app.services.publishing.numbers.published_number import PublishedNumber
from tests.conftest import SmallBench, decay_log


def test_only_trials_that_are_not_known_are_read(
    session: Session, small_bench: SmallBench, monkeypatch: pytest.MonkeyPatch
):
    for seed in (1, 2):
        run = NewTrial(kind="empty room", room_id=small_bench.room_id)
        add_trial(session, decay_log(0.6, minutes=60, seed=seed), f"{seed}.csv", run)
    session.commit()
    whole = published_numbers(session)
    known: dict[int, list[PublishedNumber]] = {1: [one for one in whole if one.trial_id == 1]}
    assert len(known[1]) > 5
    read: list[int] = []
    detail_of = module.detail_of

    def noted(trial):
        read.append(trial.id)
        return detail_of(trial)

    monkeypatch.setattr(module, "detail_of", noted)
    assert published_numbers(session, known) == whole
    assert read == [2]
    known[1][0] = replace(known[1][0], value=-1.0)  # what is known is taken as it is
    assert known[1][0] in published_numbers(session, known)
