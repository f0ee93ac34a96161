"""The noise of a logger as its trials on the bench show it, for the analysis of one more."""

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from app.compute.method import METHOD_VERSION
from app.compute.signal.logger_noise import GENERIC, MOST_TRIALS, LoggerNoise, learn
from app.storage.models.trials import ChannelResult, Trial

Evidence = tuple[float, ...]
NoiseByTrial = Mapping[int, Mapping[str, LoggerNoise]]


@dataclass(slots=True)
class BenchEvidence:
    """What the trials of every logger show of its noise: logger and channel to trials in order, with their evidence."""

    trials: dict[tuple[int, str], dict[int, Evidence]] = field(default_factory=lambda: defaultdict(dict))

    def add(self, logger_id: int | None, channel: str, trial_id: int, evidence: Evidence) -> None:
        if evidence and logger_id is not None:
            self.trials[logger_id, channel][trial_id] = evidence

    def of_logger(self, logger_id: int | None, trial_id: int | None) -> dict[str, LoggerNoise]:
        """Noise of each channel of a logger from its other trials, those nearest in order where there are many."""
        return {
            channel: learn(_nearest(of_trials, trial_id))
            for (logger, channel), of_trials in sorted(self.trials.items())
            if logger == logger_id and of_trials.keys() - {trial_id}
        }


def _nearest(of_trials: Mapping[int, Evidence], trial_id: int | None) -> list[Evidence]:
    others = sorted(of_trials.keys() - {trial_id})
    place = len(others) if trial_id is None else bisect_left(others, trial_id)
    first = min(max(place - MOST_TRIALS // 2, 0), max(len(others) - MOST_TRIALS, 0))
    return [of_trials[other] for other in others[first : first + MOST_TRIALS]]


def bench_evidence(
    session: Session, logger_ids: Collection[int] | None = None, without: Iterable[int] = (), *, learned: bool = False
) -> BenchEvidence:
    """The stored evidence of included trials, of some loggers or of all.

    learned : only of trials from which a re-analysis of the bench has learned, so that results do not depend on the
        order in which trials are added
    without : trials whose evidence comes from elsewhere
    """
    query = _evidence_query(learned=learned)
    if logger_ids is not None:
        query = query.where(Trial.logger_id.in_(logger_ids))
    left_out, found = set(without), BenchEvidence()
    for logger_id, channel, trial_id, text in session.execute(query):
        if trial_id not in left_out:
            found.add(logger_id, channel, trial_id, numbers_of(text))
    return found


@cache
def _evidence_query(*, learned: bool) -> Select[*tuple[Any, ...]]:
    """Cached: building the statement takes longer than running it for one logger."""
    query = (
        select(Trial.logger_id, ChannelResult.channel, Trial.id, ChannelResult.noise_evidence)
        .join(Trial, Trial.id == ChannelResult.trial_id)
        .where(
            Trial.trashed_at.is_(None),
            Trial.excluded_at.is_(None),
            ChannelResult.noise_evidence.is_not(None),
            ChannelResult.method_version == METHOD_VERSION,
        )
    )
    if not learned:
        return query
    return query.where(ChannelResult.noise_learned == True)  # noqa: E712  # PostgreSQL: a number, no truth


def text_of(numbers: Sequence[float]) -> str | None:
    """Numbers as one cell holds them; None for none.

    >>> text_of((0.0, -3.5)), text_of(())
    ('0 -3.5', None)
    """
    return " ".join(f"{number:g}" for number in numbers) or None


def numbers_of(text: str | None) -> Evidence:
    return tuple(float(number) for number in (text or "").split())


def stored_noise(shares: str | None, trials: int | None) -> LoggerNoise:
    """What was known of the logger's noise when a stored result was made."""
    numbers = numbers_of(shares)
    return LoggerNoise(numbers, trials or 0) if len(numbers) == len(GENERIC.shares) else GENERIC


def noise_by_trial(session: Session) -> NoiseByTrial:
    """The same for each stored result."""
    columns = (ChannelResult.trial_id, ChannelResult.channel, ChannelResult.noise_prior)
    found: dict[int, dict[str, LoggerNoise]] = {}
    for trial_id, channel, shares, trials in session.execute(select(*columns, ChannelResult.noise_prior_trials)):
        found.setdefault(trial_id, {})[channel] = stored_noise(shares, trials)
    return found
