"""Makes the files of a site, page by page, in several processes; a page that fails does not stop the others."""

import logging
import multiprocessing
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

from sqlalchemy.orm import Session

from app.hidden_marks import shown_marks
from app.services.publishing.published_items import reading_session
from app.web.published.item_pages import trial_files, unit_files
from app.web.published.preview_card import card_file
from app.web.published.site_frame import SITE_CARD, SiteFile, SiteFrame, frame_files
from app.web.published.site_pages import costs_files, method_file, pictures_files
from app.web.published.site_pictures import Failure, Pictures

_FEW = 8  # starting a process takes longer than rendering this many pages
_LOG = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Task:
    """One page, or the pages of one kind, made by one process. `name` says what it is to a reader of messages."""

    kind: str
    name: str
    id: int = 0


@dataclass(frozen=True, slots=True)
class Made:
    """The files of one task, or its failures."""

    task: Task
    files: tuple[SiteFile, ...] = ()
    failures: tuple[Failure, ...] = ()


def tasks_of(site: SiteFrame, names: Mapping[int, str]) -> list[Task]:
    """Everything that does not name the edition. `names` has the name of each unit."""
    whole = [
        Task("pictures", "the charts page"),
        Task("costs", "the running cost page"),
        Task("method", "the method page"),
    ]
    units = [Task("unit", f"unit {one} ({names.get(one, '')})", one) for one in site.things.units]
    return [*whole, *units, *(Task("trial", f"trial {one}", one) for one in site.things.trials)]


def page_of(site: SiteFrame, task: Task) -> str:
    """Address of the page that a task makes."""
    if task.kind in ("unit", "trial"):
        return site.unit_path(task.id) if task.kind == "unit" else f"trials/{task.id}.html"
    return f"{task.kind}.html"


def made(
    url: str, site: SiteFrame, made_from: Mapping[str, str], tasks: Sequence[Task], workers: int
) -> Iterator[Made]:
    """Makes the tasks, in their order. `made_from` is of the edition before."""
    make = partial(make_one, url, site, made_from)
    if workers == 1 or len(tasks) < _FEW * workers:
        yield from map(make, tasks)
        return
    # "spawn": a forked child would share the parent's connections and locks
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        yield from pool.imap(make, tasks, chunksize=max(1, min(16, len(tasks) // (8 * workers))))


def make_one(url: str, site: SiteFrame, made_from: Mapping[str, str], task: Task) -> Made:
    pictures = Pictures(task.name, made_from)
    try:
        with reading_session(url) as session:
            files = _files(session, site, task, pictures)
    except Exception as error:  # one page must not take the others with it; it is named at the end
        _LOG.exception("%s failed", task.name)
        return Made(task, (), (*pictures.failures, Failure.of(task.name, error)))
    return Made(task, tuple(as_shown(file) for file in files), tuple(pictures.failures))


def _files(session: Session, site: SiteFrame, task: Task, pictures: Pictures) -> list[SiteFile]:
    if task.kind == "unit":
        return unit_files(session, site, task.id, pictures)
    if task.kind == "trial":
        return trial_files(session, site, task.id, pictures)
    if task.kind == "pictures":
        return pictures_files(session, site, pictures)
    if task.kind == "costs":
        return costs_files(session, site, pictures)
    card = card_file(site, SITE_CARD, site.bench_name, "Room air cleaners, tested in one room.", pictures.made_from)
    return [*frame_files(), card, method_file(session, site)]


def as_shown(file: SiteFile) -> SiteFile:
    """Hides bidirectional marks in a page or table; a raw log stays byte for byte."""
    is_text = file.content is not None and file.path.endswith((".html", ".svg", ".csv", ".md", ".xml", ".json"))
    return replace(file, content=shown_marks(file.content or b"")) if is_text else file
