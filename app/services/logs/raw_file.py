"""The raw file of a trial, byte for byte as uploaded."""

from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.storage.models.logs import Log, RawFile
from app.storage.models.trials import Trial


@dataclass(frozen=True, slots=True)
class RawLog:
    """The bytes and the uploaded file name."""

    file_name: str
    sha256: str
    content: bytes


def log_id_of_trial(session: Session, trial_id: int) -> int:
    """Raises NotFound for an unknown trial."""
    log_id = session.scalar(select(Trial.log_id).where(Trial.id == trial_id))
    if log_id is None:
        raise NotFound("trial", trial_id)
    return log_id


def raw_log_of_trial(session: Session, trial_id: int) -> RawLog:
    """Raises NotFound for an unknown trial."""
    row = session.execute(
        select(Log.file_name, RawFile.sha256, RawFile.content)
        .join(Trial, Trial.log_id == Log.id)
        .join(RawFile, RawFile.sha256 == Log.sha256)
        .where(Trial.id == trial_id)
    ).first()
    if row is None:
        raise NotFound("trial", trial_id)
    return RawLog(*row)
