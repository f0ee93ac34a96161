"""Makes the files of a site, page by page, in several processes; a page that fails does not stop the others."""

import logging
import multiprocessing
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from pathlib import Path

from sqlalchemy.orm import Session

from app.bundled_files import bundled_folder
from app.hidden_marks import shown_marks
from app.services.publishing.page_sources import PageSources
from app.services.publishing.published_items import PublishedItems, reading_session
from app.services.publishing.unit_addresses import UnitAddresses
from app.web.published.item_pages import trial_files, unit_files
from app.web.published.number_marks import NumberMarks
from app.web.published.preview_card import card_file
from app.web.published.site_frame import SITE_CARD, SiteFile, SiteFrame, frame_files, short_hash
from app.web.published.site_pages import costs_files, method_file, pictures_files
from app.web.published.site_pictures import Failure, Pictures

_FEW = 32  # starting a process takes longer than rendering this many pages
_NONE = PublishedItems((), (), {}, {})
_LOG = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Task:
    """One page, or the pages of one kind, made by one process.

    name : what it is, for messages; made_from : digest of everything that its files depend on
    """

    kind: str
    name: str
    id: int = 0
    made_from: str = ""

    @property
    def key(self) -> str:
        return f"{self.kind} {self.id}"


@dataclass(frozen=True, slots=True)
class Made:
    """The files of one task, or its failures."""

    task: Task
    files: tuple[SiteFile, ...] = ()
    failures: tuple[Failure, ...] = ()


def tasks_of(site: SiteFrame, names: Mapping[int, str], sources: PageSources) -> list[Task]:
    """Everything that does not name the edition. `names` has the name of each unit."""
    every = replace(site, things=_NONE, addresses=UnitAddresses({}, {}), marks=NumberMarks({}))

    def mark(*of: object) -> str:
        return short_hash(repr((program_code(), every, of)).encode())

    bench = mark(site, sources.whole)
    whole = [
        Task("pictures", "the charts page", made_from=bench),
        Task("costs", "the running cost page", made_from=bench),
        Task("method", "the method page", made_from=bench),
    ]
    for one in site.things.units:
        of_unit = site.addresses.of_unit(one), site.marks.of_item(f"unit {one}"), sources.units[one]
        whole.append(Task("unit", f"unit {one} ({names.get(one, '')})", one, mark(of_unit)))
    for one in site.things.trials:
        of_trial = site.things.raw_name(one), site.marks.of_item(f"trial {one}"), sources.trials[one]
        whole.append(Task("trial", f"trial {one}", one, mark(of_trial)))
    return whole


@lru_cache
def program_code() -> str:
    """Fingerprint of the program, because another version may make other pages."""
    app, templates = Path(__file__).parents[2], bundled_folder("templates")
    found = [path for folder, ending in ((app, "*.py"), (templates, "*")) for path in sorted(folder.rglob(ending))]
    return short_hash(b"".join(path.read_bytes() for path in found if path.is_file()))


def page_of(site: SiteFrame, task: Task) -> str:
    """Address of the page that a task makes."""
    if task.kind in ("unit", "trial"):
        return site.unit_path(task.id) if task.kind == "unit" else f"trials/{task.id}.html"
    return f"{task.kind}.html"


def made(
    url: str, site: SiteFrame, made_from: Mapping[str, str], tasks: Sequence[Task], workers: int
) -> Iterator[Made]:
    """Makes the tasks, in their order. `made_from` is of the edition before."""
    if workers == 1 or len(tasks) < _FEW * workers:
        with reading_session(url) as session:
            yield from (make_one(session, site, made_from, task) for task in tasks)
        return
    make = partial(_make_in_worker, url, site, made_from)
    # "spawn": a forked child would share the parent's connections and locks
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        yield from pool.imap(make, tasks, chunksize=max(1, min(16, len(tasks) // (8 * workers))))


def _make_in_worker(url: str, site: SiteFrame, made_from: Mapping[str, str], task: Task) -> Made:
    with reading_session(url) as session:
        return make_one(session, site, made_from, task)


def make_one(session: Session, site: SiteFrame, made_from: Mapping[str, str], task: Task) -> Made:
    pictures = Pictures(task.name, made_from)
    try:
        files = _files(session, site, task, pictures)
    except Exception as error:  # one page must not take the others with it; it is named at the end
        _LOG.exception("%s failed", task.name)
        session.rollback()  # or the next page could not read
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
