"""Writes the whole bench as static files for any web host, so that readers do not access the bench's machine."""

import multiprocessing
import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from pathlib import Path

from sqlalchemy import Engine

from app.errors import InvalidValue
from app.hidden_marks import shown_marks
from app.services.data_package.write import raw_path
from app.services.publishing.published_items import raw_content, reading_session
from app.services.publishing.site_folder import SiteFolder, SiteWritten
from app.services.store.progress import OnProgress, no_progress
from app.web.published.item_pages import trial_files, unit_files
from app.web.published.site_frame import SiteFile, SiteFrame, frame_files, site_frame
from app.web.published.site_pages import changes_files, costs_files, method_file, pictures_files, ranking_files

_FEW = 8  # starting a process takes longer than rendering this many pages


@dataclass(frozen=True, slots=True)
class Task:
    """One page, or the pages of one kind, rendered by one process."""

    kind: str
    id: int = 0


def publish(
    engine: Engine,
    folder: Path,
    on_progress: OnProgress | None = None,
    *,
    base_url: str = "",
    workers: int | None = None,
) -> SiteWritten:
    """Publishes the bench into a folder; unchanged files are not rewritten, and pages of deleted items
    are removed.

    base_url : URL of the site, for the feed; empty: relative links
    workers : processes; None: one per core
    """
    if base_url and not base_url.startswith(("https://", "http://")):
        raise InvalidValue(f"The address is {base_url!r}; it must start with https:// or http://.")
    progress = on_progress or no_progress
    site_folder = SiteFolder(folder)
    url = engine.url.render_as_string(hide_password=False)
    with reading_session(url) as session:
        site = site_frame(session)
    tasks = [Task("ranking"), Task("pictures"), Task("costs"), Task("rest")]
    tasks += [Task("unit", one) for one in site.things.units] + [Task("trial", one) for one in site.things.trials]
    total = len(tasks) + len(site.things.raw_files)
    make = partial(_make, url, site, folder, site_folder.stamp, base_url)
    done = 0
    for files in _made(make, tasks, workers or os.cpu_count() or 1):
        for file in files:
            _take(site_folder, _as_shown(file))
        done += 1
        progress(done, total, "Writing pages")
    with reading_session(url) as session:
        for sha256, file_name in sorted(site.things.raw_files.items()):
            path = raw_path(sha256, file_name)
            kept = site_folder.holds(path)
            _take(site_folder, SiteFile(path, None if kept else raw_content(session, sha256)))
            done += 1
            progress(done, total, "Writing raw files")
    return site_folder.finish()


def _made(make: "partial[list[SiteFile]]", tasks: Sequence[Task], workers: int) -> Iterator[list[SiteFile]]:
    if workers == 1 or len(tasks) < _FEW * workers:
        yield from map(make, tasks)
        return
    # "spawn": a forked child would share the parent's connections and locks
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        yield from pool.imap(make, tasks, chunksize=max(1, min(16, len(tasks) // (8 * workers))))


def _make(url: str, site: SiteFrame, folder: Path, stamp: int, base_url: str, task: Task) -> list[SiteFile]:
    # the file name contains the hash of the description, so an existing file is the same picture
    holds = _standing_there(folder, stamp).holds
    with reading_session(url) as session:
        if task.kind == "unit":
            return unit_files(session, site, task.id, holds)
        if task.kind == "trial":
            return trial_files(session, site, task.id, holds)
        if task.kind == "ranking":
            return ranking_files(session, site)
        if task.kind == "pictures":
            return pictures_files(session, site, holds)
        if task.kind == "costs":
            return costs_files(session, site, holds)
        return [*frame_files(), method_file(session, site), *changes_files(session, site, base_url)]


@lru_cache(maxsize=1)
def _standing_there(folder: Path, stamp: int) -> SiteFolder:
    """The folder as an earlier run left it; its manifest is read once per process and run."""
    return SiteFolder(folder)


def _as_shown(file: SiteFile) -> SiteFile:
    """Hides bidirectional marks in a page or table; a raw log stays byte for byte."""
    is_text = file.content is not None and file.path.endswith((".html", ".svg", ".csv", ".md", ".xml", ".json"))
    return replace(file, content=shown_marks(file.content or b"")) if is_text else file


def _take(site_folder: SiteFolder, file: SiteFile) -> None:
    if file.content is None:
        site_folder.keep(file.path)
    else:
        site_folder.put(file.path, file.content)
