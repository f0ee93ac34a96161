"""What is new in a live run since a client last heard of it, for the stream of events."""

from dataclasses import dataclass

import numpy as np
from sqlalchemy import Engine, select

from app.errors import NotFound
from app.reading_files.headers.channels import channel as channel_named
from app.services.adding_trials.live_runs.fits import shown_channel
from app.services.adding_trials.live_runs.recorded import read_run
from app.services.adding_trials.live_runs.state import LiveState, live_state
from app.services.logs.readings import thinned_positions
from app.storage.engine import session_scope
from app.storage.models.live_runs import LiveRun

MOST_POINTS = 2_000


@dataclass(frozen=True, slots=True)
class NewPoints:
    """Readings of the channel shown: times in milliseconds since 1970 on the logger's clock, and levels.

    whole : they replace what the client has, because it has nothing, or too much is new to be sent one by one
    """

    channel: str
    label: str
    unit: str
    times_ms: list[int]
    levels: list[float]
    whole: bool


@dataclass(frozen=True, slots=True)
class News:
    """State and new readings of a run; `changes` is the counter to ask with next time."""

    changes: int
    state: LiveState
    points: NewPoints | None


def changes_of_run(engine: Engine, run_id: int) -> int:
    """The run's counter; it rises with every reading and event. Raises NotFound for an unknown run."""
    with session_scope(engine, writes=False) as session:
        changes = session.scalar(select(LiveRun.changes).where(LiveRun.id == run_id))
    if changes is None:
        raise NotFound("live run", run_id)
    return changes


def news_of_run(engine: Engine, run_id: int, since: int | None) -> News:
    """State of a run, and its readings since a value of the counter; all of them, thinned, for None."""
    with session_scope(engine, writes=False) as session:
        state = live_state(session, run_id)
        channel = shown_channel(session, run_id)
        if channel is None:
            return News(state.run.changes, state, None)
        whole = since is None or not 0 <= since <= state.run.changes
        readings = read_run(session, run_id, [channel], since=None if whole else since)
        if not whole and readings.at_us.size > MOST_POINTS:
            whole, readings = True, read_run(session, run_id, [channel])
    levels = readings.levels[channel]
    present = np.isfinite(levels)
    times, levels = readings.at_us[present] / 1000.0, levels[present]
    if whole:
        thinned = thinned_positions(times, levels, MOST_POINTS)
        times, levels = times[thinned], levels[thinned]
    points = NewPoints(
        channel,
        channel_named(channel).label,
        readings.units[channel],
        np.round(times).astype(int).tolist(),
        levels.tolist(),
        whole,
    )
    return News(state.run.changes, state, points if whole or points.levels else None)
