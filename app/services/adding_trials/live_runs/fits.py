"""The fit of a live run so far. A process makes it again at most every few seconds, because each one takes longer than
storing the readings of that time (`python -m tests.bench.live_bench`).
"""

import threading
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray
from sqlalchemy.orm import Session

from app.compute.decay.result import ChannelDecay, ClearLevel
from app.compute.decay.trial_quality import HUMIDITY_CHANNEL, TEMPERATURE_CHANNEL, pair_of
from app.compute.live_runs.precision import Precision, precision_of
from app.reading_files.headers.channels import in_order
from app.services.adding_trials.live_runs.events import event_marks
from app.services.adding_trials.live_runs.receive import channels_of
from app.services.adding_trials.live_runs.recorded import Extent, RunReadings, read_run
from app.services.logs.trial_fields import TrialMarks
from app.services.results.analyse_channels import MASS_UNIT, analyse_channels, is_analysed
from app.services.results.trial_results import analysis_terms
from app.storage.models.bench import Bench
from app.storage.models.live_runs import LiveEvent, LiveRun

REFIT_AFTER = timedelta(seconds=5)
_MOST_KEPT = 64


@dataclass(frozen=True, slots=True)
class LiveFit:
    """Analysis of one channel of a run so far, by the method of a stored trial.

    level : newest level; reference_level : the clear level, or the background where no absolute one is set
    humidity_pct : at the start of the fit window and now
    """

    channel: str
    unit: str
    decay: ChannelDecay
    precision: Precision | None
    level: float | None
    reference_level: float
    interval_s: float
    humidity_pct: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class _Kept:
    changes: int
    marks: TrialMarks
    made_at: datetime
    fit: LiveFit


_kept: OrderedDict[tuple[str, int], _Kept] = OrderedDict()
_lock = threading.Lock()


def live_fit(
    session: Session, run: LiveRun, events: Sequence[LiveEvent], extent: Extent, now: datetime
) -> LiveFit | None:
    """The fit of a run, at most five seconds old; None without readings of an analysed channel."""
    if extent.first_at is None or extent.last_at is None:
        return None
    marks = event_marks(run, events, extent.first_at, (extent.last_at - extent.first_at).total_seconds())
    key = (str(session.get_bind().engine.url), run.id)
    with _lock:
        kept = _kept.get(key)
    if (
        kept is not None
        and kept.marks == marks
        and (kept.changes == run.changes or timedelta(0) <= now - kept.made_at < REFIT_AFTER)
    ):
        return kept.fit
    fit = _fitted(session, run, marks)
    if fit is not None:
        with _lock:
            _kept[key] = _Kept(run.changes, marks, now, fit)
            _kept.move_to_end(key)
            while len(_kept) > _MOST_KEPT:
                _kept.popitem(last=False)
    return fit


def shown_channel(session: Session, run_id: int) -> str | None:
    """The bench's main channel if the run has it, else its first analysed channel."""
    names = [each.channel for each in channels_of(session, run_id) if is_analysed(each.channel)]
    main = session.get_one(Bench, 1).main_channel
    return main if main in names else next(iter(in_order(names)), None)


def _fitted(session: Session, run: LiveRun, marks: TrialMarks) -> LiveFit | None:
    channel = shown_channel(session, run.id)
    if channel is None:
        return None
    wanted = [channel, HUMIDITY_CHANNEL, TEMPERATURE_CHANNEL]
    other = pair_of(channel, {each.channel: 1 for each in channels_of(session, run.id)})
    readings = read_run(session, run.id, wanted if other is None else [*wanted, other])
    levels = readings.levels[channel]
    present = np.flatnonzero(np.isfinite(levels))
    if not present.size:
        return None
    terms = analysis_terms(session, run.kind, run.logger_id, marks, started_at=run.started_at)
    decays = analyse_channels(readings.elapsed_s, readings.levels, readings.units, terms, [channel])
    decay = decays[channel]
    return LiveFit(
        channel=channel,
        unit=readings.units[channel],
        decay=decay,
        precision=precision_of(decay),
        level=float(levels[present[-1]]),
        reference_level=_reference_level(decay, levels[present], terms.clear_level),
        interval_s=float(np.median(np.diff(readings.elapsed_s[present]))) if present.size > 1 else 0.0,
        humidity_pct=_humidity(readings, decay),
    )


def _reference_level(decay: ChannelDecay, levels: NDArray[np.float64], clear_level: ClearLevel) -> float:
    """The absolute clear level; where there is none, the level of the first readings, before the smoke."""
    if clear_level.kind == "absolute" and decay.unit == MASS_UNIT:
        return clear_level.value
    return max(float(np.nanmedian(levels[: max(levels.size // 20, 3)])), 0.0)


def _humidity(readings: RunReadings, decay: ChannelDecay) -> tuple[float, float] | None:
    """Median of the first and last tenth of the decay so far."""
    humidity = readings.levels.get(HUMIDITY_CHANNEL)
    if humidity is None:
        return None
    of_decay = humidity[(readings.elapsed_s >= 3600 * decay.unit_on_h) & np.isfinite(humidity)]
    if of_decay.size < 2:
        return None
    tenth = max(of_decay.size // 10, 1)
    return float(np.median(of_decay[:tenth])), float(np.median(of_decay[-tenth:]))
