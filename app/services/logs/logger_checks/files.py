"""Reads an uploaded file as the log of a logger."""

from dataclasses import replace

from sqlalchemy.orm import Session

from app.errors import NotFound
from app.reading_files.log_table import ReadingChoices
from app.reading_files.read_log import read_log
from app.reading_files.text.decoding import refuse_large_file
from app.services.logs.logger_checks.add import FileOfLogger
from app.services.logs.logger_profiles import load_profile
from app.storage.models.bench import Bench
from app.storage.models.loggers import Logger


def file_of_logger(session: Session, logger_id: int, content: bytes, file_name: str) -> FileOfLogger:
    """The file, read with the profile of the logger; local times are in the zone of the bench.

    Raises UnreadableLog for a file that is not a log, NotFound for an unknown logger.
    """
    refuse_large_file(len(content), file_name)
    logger = session.get(Logger, logger_id)
    if logger is None:
        raise NotFound("logger", logger_id)
    kept = load_profile(session, logger.profile_id) if logger.profile_id is not None else ReadingChoices()
    choices = replace(kept, assumed_timezone=session.get_one(Bench, 1).timezone)
    return FileOfLogger(logger_id, content, read_log(content, file_name, choices), choices)
