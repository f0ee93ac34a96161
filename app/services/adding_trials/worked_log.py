"""A log that was read and analysed before its trial is stored, so that nobody waits for that to write."""

from dataclasses import dataclass, replace
from datetime import datetime

from sqlalchemy.orm import Session

from app.reading_files.log_table import LogTable, ReadingChoices
from app.reading_files.read_log import read_log
from app.services.logs.readings import LogReadings
from app.services.logs.store import has_raw_file
from app.services.logs.trial_fields import TrialMarks, check_marks
from app.services.results.analyse_channels import AnalysedTrial, AnalysisTerms, analyse_readings
from app.services.results.trial_results import analysis_terms


@dataclass(frozen=True, slots=True)
class WorkedLog:
    """The bytes of a log, its table, and its analysis by the terms that were known then."""

    content: bytes
    table: LogTable
    choices: ReadingChoices
    terms: AnalysisTerms | None = None
    analysed: AnalysedTrial | None = None

    def analyse(self, readings: LogReadings, terms: AnalysisTerms) -> AnalysedTrial:
        """The analysis made ahead, or another one if there is none, or the terms have become others."""
        if self.analysed is None or terms != self.terms:
            return analyse_readings(readings, terms)
        return self.analysed


def work_log(content: bytes, file_name: str, choices: ReadingChoices, terms: AnalysisTerms) -> WorkedLog:
    """Raises UnreadableLog for a file that is not a log."""
    return _analysed(WorkedLog(content, read_log(content, file_name, choices), choices), terms)


def worked_ahead(
    session: Session, log: WorkedLog, kind: str, logger_id: int | None, marks: TrialMarks, started_at: datetime
) -> WorkedLog:
    """The log analysed by what a reading session knows now; unchanged where its bytes are stored already.

    Raises InvalidValue for a mark outside the log.
    """
    check_marks(marks, float(log.table.elapsed_s[-1]))
    if has_raw_file(session, log.table.sha256):
        return log
    return _analysed(log, analysis_terms(session, kind, logger_id, marks, started_at=started_at))


def _analysed(log: WorkedLog, terms: AnalysisTerms) -> WorkedLog:
    readings = LogReadings(log.table.elapsed_s, log.table.levels, log.table.units)
    return replace(log, terms=terms, analysed=analyse_readings(readings, terms))
