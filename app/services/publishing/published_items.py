"""Published items of a bench: units and trials outside the trash, and the raw files of the trials."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache

from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from app.storage.engine import open_engine, session_scope
from app.storage.models.bench import Bench, Change
from app.storage.models.logs import Log, RawFile
from app.storage.models.trials import Trial
from app.storage.models.units_under_test import UnitUnderTest


@dataclass(frozen=True, slots=True)
class PublishedItems:
    """Ids of units and trials, and the raw files: hash to file name, and hash of each trial's."""

    units: tuple[int, ...]
    trials: tuple[int, ...]
    raw_files: dict[str, str]
    raw_of_trials: dict[int, str]

    def raw_name(self, trial_id: int) -> str:
        """Name of a trial's raw file; identical files are published once, under their first name."""
        return self.raw_files[self.raw_of_trials[trial_id]]


def published_items(session: Session) -> PublishedItems:
    units = session.scalars(
        select(UnitUnderTest.id).where(UnitUnderTest.trashed_at.is_(None)).order_by(UnitUnderTest.id)
    ).all()
    rows = session.execute(
        select(Trial.id, Log.sha256, Log.file_name)
        .join(Log, Log.id == Trial.log_id)
        .outerjoin(UnitUnderTest, UnitUnderTest.id == Trial.unit_under_test_id)
        .where(Trial.trashed_at.is_(None), UnitUnderTest.trashed_at.is_(None))
        .order_by(Trial.id)
    ).all()
    names: dict[str, str] = {}
    for row in rows:
        names.setdefault(row.sha256, row.file_name)
    return PublishedItems(tuple(units), tuple(row.id for row in rows), names, {row.id: row.sha256 for row in rows})


def raw_content(session: Session, sha256: str) -> bytes:
    return session.scalar(select(RawFile.content).where(RawFile.sha256 == sha256)) or b""


def unit_names(session: Session) -> dict[int, str]:
    """Names of all units, those in the trash too."""
    rows = session.execute(select(UnitUnderTest.id, UnitUnderTest.maker, UnitUnderTest.model))
    return {row.id: f"{row.maker} {row.model}" for row in rows}


def reasons_for_trash(session: Session) -> dict[str, str]:
    """Why each unit and trial was last moved to the trash, by its kind and id."""
    rows = session.execute(
        select(Change.subject, Change.subject_id, Change.why).where(Change.action == "trashed").order_by(Change.id)
    )
    return {f"{row.subject} {row.subject_id}": row.why for row in rows}


@contextmanager
def edition_session(engine: Engine) -> Iterator[Session]:
    """A session that stores an edition, and commits it."""
    with session_scope(engine) as session:
        yield session


@lru_cache
def _engine(url: str) -> Engine:
    """One engine per process, because forked connections are not safe."""
    return open_engine(url)


@contextmanager
def reading_session(url: str) -> Iterator[Session]:
    """A read-only session for a worker process with its own engine."""
    with session_scope(_engine(url), writes=False) as session:
        session.info["bench"] = session.get(Bench, 1)  # held, or each function of a page reads it again
        yield session
