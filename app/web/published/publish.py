"""Writes the whole bench as static files for any web host, so that readers do not access the bench's machine.

Each publication of changed numbers or pages is a numbered edition, frozen in the store.
"""

import hashlib
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import orjson
from sqlalchemy import Engine
from sqlalchemy.orm import Session

from app.errors import AlreadyStored, InvalidValue, StoreProblem
from app.services.data_package.write import raw_path
from app.services.publishing.compressed_copies import COMPRESSED, compressors
from app.services.publishing.editions import (
    FrozenSize,
    Manifest,
    content_of,
    get_edition,
    last_change_id,
    manifest_of,
    refuse_unknown_edition,
    save_edition,
)
from app.services.publishing.published_items import edition_session, raw_content, reading_session
from app.services.publishing.signature import sign
from app.services.publishing.site_folder import MANIFEST, SIGNATURE, SiteFolder, SiteWritten
from app.services.publishing.unit_addresses import store_addresses
from app.services.store.progress import OnProgress, no_progress
from app.web.published.edition_pages import edition_dependent_files
from app.web.published.make import Made, Task, as_shown, made, page_of, tasks_of
from app.web.published.permanent_addresses import kept_addresses
from app.web.published.site_frame import SiteFile, rendered
from app.web.published.site_pictures import Failure
from app.web.published.upcoming_edition import UpcomingEdition, read_upcoming_edition

NOTHING_FROZEN = FrozenSize()


@dataclass(frozen=True, slots=True)
class Published:
    """What was published.

    is_new : the edition was made now; otherwise nothing has changed since it was published
    moved : numbers that moved since the edition before; pages : files that differ from it
    failures : pages and charts that could not be made; what stood there before stands there still
    frozen : what the edition added to the store
    """

    edition: int
    day: str
    digest: str
    is_new: bool
    numbers: int
    moved: int
    pages: int
    folder: SiteWritten
    frozen: FrozenSize = NOTHING_FROZEN
    failures: tuple[Failure, ...] = ()


@dataclass(frozen=True, slots=True)
class Finish:
    """What is added to a folder besides the edition: a signature by an SSH key, compressed copies for the host."""

    key: Path | None = None
    precompress: bool = False


NO_FINISH = Finish()


@dataclass(slots=True)
class _Site:
    """Files of the site while they are made: what each was made from, and what failed."""

    folder: SiteFolder
    url: str
    before: Manifest | None
    made_from: dict[str, str] = field(default_factory=dict)
    failures: list[Failure] = field(default_factory=list)

    def take_task(self, result: Made) -> None:
        """Adds the files of a task, and notes what they were made from where none failed."""
        for file in result.files:
            self.take(file)
        self.failures += result.failures
        if result.files and not result.failures:
            self.made_from[result.task.key] = " ".join([result.task.made_from, *(one.path for one in result.files)])

    def takes_over_task(self, task: Task, made_from: Mapping[str, str]) -> bool:
        """Takes the files of a task from the edition before where they would be the same; says whether it did."""
        mark, *paths = made_from.get(task.key, "").split(" ")
        if self.before is None or mark != task.made_from or not self.before.files.keys() >= set(paths):
            return False
        for path in paths:
            self.take(SiteFile(path, None, made_from.get(path, "")))
        self.made_from[task.key] = made_from[task.key]
        return True

    def take(self, file: SiteFile) -> None:
        """Adds a file; one without content is as in the edition before."""
        if file.made_from:
            self.made_from[file.path] = file.made_from
        if file.content is not None:
            self.folder.put(file.path, file.content)
        elif self.before is not None:
            self.take_as_before(file.path, self.before.files[file.path])

    def take_as_before(self, path: str, sha256: str) -> None:
        if not self.folder.takes_over(path, sha256):
            with reading_session(self.url) as session:
                self.folder.put(path, content_of(session, sha256))


def publish(
    engine: Engine,
    folder: Path,
    on_progress: OnProgress | None = None,
    *,
    base_url: str = "",
    workers: int | None = None,
    now: datetime | None = None,
    finish: Finish = NO_FINISH,
) -> Published:
    """Publishes the bench into a folder as a new edition, or as the newest one where nothing has changed since.

    base_url : URL of the site, for links that have to be whole; empty: none
    workers : processes; None: one per core
    """
    if base_url and not base_url.startswith(("https://", "http://")):
        raise InvalidValue(f"The address is {base_url!r}; it must start with https:// or http://.")
    url = engine.url.render_as_string(hide_password=False)
    site_folder = SiteFolder(folder)
    try:
        with reading_session(url) as session:
            refuse_unknown_edition(session, folder)
            upcoming = read_upcoming_edition(session, base_url, now or datetime.now(UTC))
        site = _Site(site_folder, url, upcoming.before)
        _make_pages(site, upcoming, workers or os.cpu_count() or 1, on_progress or no_progress)
        with reading_session(url) as session:
            manifest, is_new = _finish_pages(session, site, upcoming)
        if not is_new:
            return _published(site, upcoming, manifest, finish, is_new=False)
        with edition_session(engine) as session:
            if last_change_id(session) != upcoming.last_change_id:
                raise StoreProblem(
                    "The bench was changed while it was being published. Nothing was published; run the command again."
                )
            made_from = orjson.dumps(site.made_from | dict(upcoming.numbers_from)).decode()
            frozen = save_edition(
                session, manifest, site_folder.read, numbers=upcoming.numbers,
                moved=len(upcoming.moved_in(manifest.edition)), made_from=made_from,
            )  # fmt: skip
            store_addresses(session)
        return _published(site, upcoming, manifest, finish, is_new=True, frozen=frozen)
    except BaseException:
        site_folder.discard()
        raise


def _make_pages(site: _Site, upcoming: UpcomingEdition, workers: int, progress: OnProgress) -> None:
    """Everything that does not name the edition: pages of units and trials, charts, raw files."""
    frame = upcoming.frame
    tasks = tasks_of(frame, upcoming.unit_names, upcoming.sources)
    total = len(tasks) + len(frame.things.raw_files)
    tasks = [task for task in tasks if not site.takes_over_task(task, upcoming.made_from)]
    done = total - len(tasks) - len(frame.things.raw_files)
    for result in made(site.url, frame, upcoming.made_from, tasks, workers):
        site.take_task(result)
        page = page_of(frame, result.task)
        if not result.files and (site.before is None or page not in site.before.files):
            site.take(rendered("not_made.html", frame, page, "Not available", what=result.task.name))
        done += 1
        progress(done, total, "Writing pages")
    with reading_session(site.url) as session:
        for sha256, file_name in sorted(frame.things.raw_files.items()):
            path = raw_path(sha256, file_name)
            if not site.folder.takes_over(path, sha256):
                site.folder.put(path, raw_content(session, sha256))
            done += 1
            progress(done, total, "Writing raw files")


def _finish_pages(session: Session, site: _Site, upcoming: UpcomingEdition) -> tuple[Manifest, bool]:
    """Adds the pages that name the edition and the files at former addresses; says whether the edition is new."""
    made_so_far = dict(site.folder.files)
    for number in dict.fromkeys((upcoming.unless_changed, upcoming.next_number)):
        dependent = [as_shown(file) for file in edition_dependent_files(session, upcoming, number)]
        files = made_so_far | {file.path: _sha256(file) for file in dependent}
        kept = kept_addresses(
            session, upcoming.frame, upcoming.before, files, upcoming.day_of(number), _as_failed(site, files)
        )
        for path, today in kept.same_as.items():
            files[path] = files[today]
        files |= {file.path: _sha256(file) for file in kept.notices}
        if upcoming.before is not None:
            files |= {path: upcoming.before.files[path] for path in kept.unchanged}
        manifest = upcoming.manifest(number, files, tuple(kept.taken_down))
        is_new = number == upcoming.next_number
        if not is_new and manifest.digest != upcoming.digest_before:
            continue  # a page changed, so this is another edition
        for file in (*dependent, *kept.notices):
            site.take(file)
        for path in kept.same_as:
            site.folder.put(path, site.folder.read(kept.same_as[path]))
        for path in kept.unchanged:
            site.take_as_before(path, manifest.files[path])
        return manifest, is_new
    raise ValueError("An edition has a number of its own.")


def _as_failed(site: _Site, files: Mapping[str, str]) -> frozenset[str]:
    """Addresses of the edition before that this one lacks because a page or chart failed."""
    if site.before is None or not site.failures:
        return frozenset()
    return frozenset(site.before.files.keys() - files.keys())


def _sha256(file: SiteFile) -> str:
    return hashlib.sha256(file.content or b"").hexdigest()


def _published(
    site: _Site,
    upcoming: UpcomingEdition,
    manifest: Manifest,
    finish: Finish,
    *,
    is_new: bool,
    frozen: FrozenSize = NOTHING_FROZEN,
) -> Published:
    """Puts the new site in its place."""
    _add_beside(site.folder, manifest, finish)
    former = upcoming.before.files if upcoming.before is not None else {}
    return Published(
        edition=manifest.edition,
        day=manifest.published_at[:10],
        digest=manifest.digest,
        is_new=is_new,
        numbers=upcoming.numbers,
        moved=len(upcoming.moved_in(manifest.edition)),
        pages=sum(former.get(path) != sha256 for path, sha256 in manifest.files.items()) if is_new else 0,
        folder=site.folder.swap(),
        frozen=frozen,
        failures=tuple(site.failures),
    )


def _add_beside(site_folder: SiteFolder, manifest: Manifest, finish: Finish) -> None:
    """The manifest, its signature, and compressed copies."""
    site_folder.add_beside(MANIFEST, manifest.content)
    if finish.key is not None:
        site_folder.add_beside(SIGNATURE, sign(manifest.content, finish.key, site_folder.workplace))
    if finish.precompress:
        for ending, compress in compressors().items():
            for path in (MANIFEST, *manifest.files):
                if path.endswith(COMPRESSED):
                    site_folder.add_copy(path, ending, compress)


def publish_again(
    engine: Engine, folder: Path, number: int, on_progress: OnProgress | None = None, *, finish: Finish = NO_FINISH
) -> Published:
    """Writes an edition again from the store, byte for byte, into a folder that holds no other edition."""
    progress = on_progress or no_progress
    site_folder = SiteFolder(folder)
    try:
        with reading_session(engine.url.render_as_string(hide_password=False)) as session:
            edition = get_edition(session, number)
            manifest = manifest_of(session, edition)
            if site_folder.held() and site_folder.held() != manifest.files:
                raise AlreadyStored(
                    f"{folder} holds another edition, whose addresses would be lost. Choose an empty folder for "
                    f"edition {number}."
                )
            for done, (path, sha256) in enumerate(sorted(manifest.files.items()), start=1):
                if not site_folder.takes_over(path, sha256):
                    site_folder.put(path, content_of(session, sha256))
                progress(done, len(manifest.files), "Writing files")
            _add_beside(site_folder, manifest, finish)
            counts = edition.numbers, edition.moved
        return Published(number, manifest.published_at[:10], manifest.digest, False, *counts, 0, site_folder.swap())
    except BaseException:
        site_folder.discard()
        raise
