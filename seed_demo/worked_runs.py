"""Runs of the plan that are simulated, read and analysed ahead of storing them, on all cores."""

import multiprocessing
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

from app.reading_files.log_table import LogTable, ReadingChoices
from app.reading_files.read_log import read_log
from app.services.logs.readings import LogReadings
from app.services.results.analyse_channels import AnalysedTrial, AnalysisTerms, analyse_readings
from seed_demo.simulate_trial import log_file
from seed_demo.trial_plan import TrialPlan


@dataclass(frozen=True, slots=True)
class RunTask:
    """One run, with what the bench knows of its logger before it is added."""

    plan: TrialPlan
    choices: ReadingChoices
    terms: AnalysisTerms


@dataclass(frozen=True, slots=True)
class WorkedRun:
    """The log of one run, its table, and its analysis by the terms of the task."""

    content: bytes
    table: LogTable
    terms: AnalysisTerms
    analysed: AnalysedTrial

    def analyse(self, readings: LogReadings, terms: AnalysisTerms) -> AnalysedTrial:
        """The analysis made ahead, or another one if the terms have become others."""
        return self.analysed if terms == self.terms else analyse_readings(readings, terms)


def work(task: RunTask) -> WorkedRun:
    name, content = log_file(task.plan)
    table = read_log(content, name, task.choices)
    readings = LogReadings(table.elapsed_s, table.levels, table.units)
    return WorkedRun(content, table, task.terms, analyse_readings(readings, task.terms))


@contextmanager
def worked_ahead(tasks: Sequence[RunTask], workers: int | None = None) -> Iterator[Iterator[WorkedRun]]:
    """The worked runs, in the order of their tasks.

    workers : processes; None: one per core
    """
    processes = workers or os.cpu_count() or 1
    if processes == 1:
        yield map(work, tasks)
        return
    # "spawn": a forked child would share the parent's connection and locks
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        yield pool.imap(work, tasks, chunksize=4)
