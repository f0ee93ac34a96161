"""A log that was read and analysed before its trial is stored, so that nobody waits for that to write."""

from dataclasses import dataclass

from app.reading_files.log_table import LogTable, ReadingChoices
from app.reading_files.read_log import read_log
from app.services.logs.readings import LogReadings
from app.services.results.analyse_channels import AnalysedTrial, AnalysisTerms, analyse_readings


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
    return analysed_by(WorkedLog(content, read_log(content, file_name, choices), choices), terms)


def analysed_by(log: WorkedLog, terms: AnalysisTerms) -> WorkedLog:
    readings = LogReadings(log.table.elapsed_s, log.table.levels, log.table.units)
    return WorkedLog(log.content, log.table, log.choices, terms, analyse_readings(readings, terms))
