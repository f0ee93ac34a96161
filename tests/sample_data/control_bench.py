"""Runs of a room put straight into the store: their results without logs behind them, in the past of a fixed day."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import numpy as np
from sqlalchemy import insert
from sqlalchemy.orm import Session

from app.services.bench.definitions import NewRoom
from app.services.bench.rooms import add_room
from app.storage.models.loggers import SmokeSource
from app.storage.models.logs import Log, RawFile
from app.storage.models.trials import ChannelResult, Trial

FIRST = datetime(2024, 1, 8, 9, 0, tzinfo=UTC)
WEEKS = 2
_SHA = "c" * 64


def add_runs(
    session: Session,
    room_id: int,
    rates: Sequence[float],
    uncertainty: float = 0.01,
    *,
    setting: tuple[int, int] | None = None,
    first: datetime = FIRST,
    aerosol: str = "smoke",
    channel: str = "pm2_5",
    clean_air_share_m3: float | None = None,
) -> list[int]:
    """One usable run every second week with these decay rates [1/h]; returns the trials' ids.

    setting : unit and setting, None for empty-room runs
    clean_air_share_m3 : clean air delivery rate over the decay rate, None for none
    """
    log_id, source_id = _log(session), _source(session, aerosol)
    unit_id, setting_id = setting or (None, None)
    trials = [
        Trial(
            kind="empty room" if setting is None else "unit running",
            unit_under_test_id=unit_id,
            setting_id=setting_id,
            room_id=room_id,
            smoke_source_id=source_id,
            log_id=log_id,
            started_at=first + timedelta(weeks=WEEKS * place),
            created_at=first,
        )
        for place in range(len(rates))
    ]
    session.add_all(trials)
    session.flush()
    results = [
        {
            "trial_id": trial.id,
            "channel": channel,
            "unit": "µg/m³",
            "method_version": "test",
            "computed_at": first,
            "usable": True,
            "unit_on_s": 600.0,
            "unit_on_found": True,
            "end_s": 7200.0,
            "interval_s": 10.0,
            "readings": 720,
            "start_level": 300.0,
            "peak_level": 300.0,
            "end_level": 20.0,
            "fit_converged": True,
            "total_decay_per_h": float(rate),
            "total_decay_uncertainty_per_h": uncertainty,
            "clear_level": 10.0,
            "cleared": False,
            "clean_air_delivery_rate_m3_per_h": None if clean_air_share_m3 is None else rate * clean_air_share_m3,
        }
        for trial, rate in zip(trials, rates, strict=True)
    ]
    if results:
        session.execute(insert(ChannelResult), results)
    return [trial.id for trial in trials]


def steady(number: int, level: float = 0.5, seed: int = 1) -> list[float]:
    """Decay rates of a room that stays the same, with 4 % between runs [1/h]."""
    rates: list[float] = (level * (1 + 0.04 * np.random.default_rng(seed).standard_normal(number))).tolist()
    return rates


def shifted(before: int = 24, after: int = 10) -> list[float]:
    """Decay rates of a room that leaks more from some run on [1/h]."""
    return [*steady(before), *steady(after, level=0.62, seed=2)]


def add_shifted_room(session: Session) -> int:
    """A room of 30 m³ with a shift between its empty-room runs; returns its id."""
    room_id = add_room(session, NewRoom(name="Shifted room", room_volume_m3=30.0, room_volume_uncertainty_m3=0.5))
    add_runs(session, room_id, shifted())
    return room_id


def _log(session: Session) -> int:
    if session.get(RawFile, _SHA) is None:
        session.add(RawFile(sha256=_SHA, size_bytes=1, content=b"x", stored_at=FIRST))
        session.flush()
    log = Log(
        sha256=_SHA,
        file_name="run.csv",
        encoding="utf-8",
        delimiter="comma",
        decimal_mark=".",
        header_line=1,
        timezone="UTC",
        started_at=FIRST,
        clock_is_known=True,
        interval_s=10.0,
        readings=0,
        rows_skipped=0,
        stored_at=FIRST,
    )
    session.add(log)
    session.flush()
    return log.id


def _source(session: Session, aerosol: str) -> int | None:
    if aerosol == "smoke":
        return None  # a run without a source counts as smoke
    source = SmokeSource(name=f"control {aerosol} {_log(session)}", aerosol=aerosol)
    session.add(source)
    session.flush()
    return source.id
