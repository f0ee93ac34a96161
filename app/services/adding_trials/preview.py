"""What a waiting file would become: how each column was read, what is left out and why, and a first analysis.
Nothing is stored."""

from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.compute.decay.result import ChannelDecay
from app.reading_files.log_table import LogColumn, LogTable, ReadingChoices
from app.reading_files.read_log import read_log
from app.services.adding_trials.staged_uploads import StagedUpload, staged_content, staged_upload
from app.services.logs.readings import LogReadings
from app.services.logs.trial_fields import UNIT_RUNNING, TrialMarks, check_marks
from app.services.results.trial_results import analyse_readings, analysis_terms
from app.settings import Settings


@dataclass(frozen=True, slots=True)
class LogPreview:
    """What the upload page shows before anything is stored.

    recognised : columns that hold a channel; structural : time, box and status columns; unrecognised : the rest
    decays : first analysis of each particle channel, with the marks given or found
    assumed_zone : the bench's zone, where the file's local times name none and nobody chose one
    """

    upload: StagedUpload
    choices: ReadingChoices
    table: LogTable
    recognised: tuple[LogColumn, ...]
    structural: tuple[LogColumn, ...]
    unrecognised: tuple[LogColumn, ...]
    decays: dict[str, ChannelDecay]
    assumed_zone: str = ""


def preview_log(
    session: Session,
    settings: Settings,
    token: str,
    choices: ReadingChoices | None = None,
    *,
    kind: str = UNIT_RUNNING,
    logger_id: int | None = None,
    marks: TrialMarks | None = None,
) -> LogPreview:
    """Reads a waiting file with choices and analyses it once.

    Raises NotFound where nothing waits under the token, UnreadableLog where the file is no log.
    """
    upload = staged_upload(settings, token)
    chosen = choices or ReadingChoices()
    table = read_log(staged_content(settings, upload), upload.file_name, chosen)
    given = marks or TrialMarks()
    check_marks(given, float(table.elapsed_s[-1]))
    terms = analysis_terms(session, kind, logger_id, given)
    return LogPreview(
        upload=upload,
        choices=chosen,
        table=table,
        recognised=tuple(column for column in table.columns if column.channel is not None),
        structural=tuple(c for c in table.columns if c.channel is None and c.use in ("time", "box", "status")),
        unrecognised=tuple(c for c in table.columns if c.channel is None and c.use == "left out"),
        decays=analyse_readings(LogReadings(table.elapsed_s, table.levels, table.units), terms).decays,
    )
