"""Runs of the plan that are simulated, read and analysed ahead of storing them, on all cores."""

import multiprocessing
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

from app.reading_files.log_table import ReadingChoices
from app.services.adding_trials.worked_log import WorkedLog, work_log
from app.services.results.analyse_channels import AnalysisTerms
from seed_demo.simulate_trial import log_file
from seed_demo.trial_plan import TrialPlan


@dataclass(frozen=True, slots=True)
class RunTask:
    """One run, with what the bench knows of its logger before it is added."""

    plan: TrialPlan
    choices: ReadingChoices
    terms: AnalysisTerms


def work(task: RunTask) -> WorkedLog:
    name, content = log_file(task.plan)
    return work_log(content, name, task.choices, task.terms)


@contextmanager
def worked_ahead(tasks: Sequence[RunTask], workers: int | None = None) -> Iterator[Iterator[WorkedLog]]:
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
