"""Imports all table models into one metadata object."""

from app.storage.models import (
    accounts,
    attachments,
    bench,
    bench_measurements,
    live_runs,
    loggers,
    logs,
    plans,
    ratings_and_claims,
    reviews,
    rooms,
    sound_clips,
    summaries,
    trials,
    units_under_test,
)
from app.storage.models.base import Base

METADATA = Base.metadata

__all__ = [
    "METADATA",
    "accounts",
    "attachments",
    "bench",
    "bench_measurements",
    "live_runs",
    "loggers",
    "logs",
    "plans",
    "ratings_and_claims",
    "reviews",
    "rooms",
    "sound_clips",
    "summaries",
    "trials",
    "units_under_test",
]
