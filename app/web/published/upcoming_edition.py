"""What is known of the next edition before its pages are made: its numbers, which of them moved, and its number."""

import hashlib
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from app.services.data_package.write import program_version
from app.services.publishing.editions import (
    Manifest,
    all_editions,
    first_numbers,
    last_change_id,
    made_from,
    manifest_of,
    moment,
    moved_in,
    newest_edition,
    numbers_of,
)
from app.services.publishing.numbers.moved import MovedNumber, moved_numbers
from app.services.publishing.numbers.of_bench import published_numbers
from app.services.publishing.numbers.published_number import PublishedNumber, by_key, numbers_file
from app.services.publishing.numbers.reasons import read_reasons
from app.services.publishing.page_sources import PageSources, read_page_sources
from app.services.publishing.published_items import unit_names
from app.web.published.change_pages import EditionOfSite
from app.web.published.make import program_code
from app.web.published.number_marks import number_marks
from app.web.published.site_frame import SiteFrame, site_frame


@dataclass(frozen=True, slots=True)
class UpcomingEdition:
    """The edition to be published.

    numbers : how many are published; numbers_packed : their list as a file, compressed, because that of a large bench
        has 50 MB and waits until all pages are made
    former : the editions so far, newest first
    sources : digests of the rows that the pages are made from; made_from : of those of the edition before
    numbers_from : what the numbers of each trial follow from, for the edition after
    moved : numbers that differ from the newest edition; empty for the first edition
    unless_changed : number of the edition if no page differs; next_number : otherwise
    """

    frame: SiteFrame
    unit_names: Mapping[int, str]
    numbers: int
    numbers_packed: bytes
    numbers_sha256: str
    before: Manifest | None
    former: tuple[EditionOfSite, ...]
    moved: tuple[MovedNumber, ...]
    sources: PageSources
    made_from: Mapping[str, str]
    numbers_from: Mapping[str, str]
    last_change_id: int
    now: datetime

    @property
    def numbers_json(self) -> bytes:
        return zlib.decompress(self.numbers_packed)

    @property
    def next_number(self) -> int:
        return 1 if self.before is None else self.before.edition + 1

    @property
    def unless_changed(self) -> int:
        same = self.before is not None and self.before.numbers_sha256 == self.numbers_sha256
        return self.before.edition if same and self.before is not None else self.next_number

    @property
    def digest_before(self) -> str:
        return "" if self.before is None else self.before.digest

    def moved_in(self, number: int) -> tuple[MovedNumber, ...]:
        return self.moved if number == self.next_number else self.former[0].moved

    def at(self, number: int) -> datetime:
        return self.now if number == self.next_number else self.former[0].at

    def day_of(self, number: int) -> str:
        return self.at(number).date().isoformat()

    def editions(self, number: int) -> tuple[EditionOfSite, ...]:
        """All editions with this one, newest first."""
        if number != self.next_number:
            return self.former
        new = EditionOfSite(number, self.now, self.numbers, self.moved, self.numbers_sha256)
        return (new, *self.former)

    def manifest(self, number: int, files: dict[str, str], taken_down: tuple[str, ...]) -> Manifest:
        is_next = number == self.next_number
        return Manifest(
            edition=number,
            published_at=moment(self.at(number)),
            bench=self.frame.bench_name,
            invented=self.frame.invented,
            method_version=self.frame.method_version,
            program_version=program_version() if is_next or self.before is None else self.before.program_version,
            base_url=self.frame.base_url,
            before="" if self.before is None else self.before.digest if is_next else self.before.before,
            numbers_sha256=self.numbers_sha256,
            files=files,
            taken_down=taken_down,
        )


def read_upcoming_edition(session: Session, base_url: str, now: datetime) -> UpcomingEdition:
    newest = newest_edition(session)
    before = None if newest is None else manifest_of(session, newest)
    sources, made = read_page_sources(session), {} if newest is None else made_from(session, newest)
    before_numbers = () if newest is None else numbers_of(session, newest)
    numbers_from = {_key(trial): f"{program_code()} {digest}" for trial, digest in sources.trials.items()}
    numbers = published_numbers(session, _unchanged(before_numbers, sources, made, numbers_from))
    numbers_json = numbers_file(numbers)
    numbers_sha256 = hashlib.sha256(numbers_json).hexdigest()
    moved: tuple[MovedNumber, ...] = ()
    if newest is not None and before is not None and before.numbers_sha256 != numbers_sha256:
        reasons = read_reasons(session, newest.last_change_id, before.program_version, program_version())
        moved = moved_numbers(by_key(before_numbers), by_key(numbers), reasons)
    former = _former(session)
    latest = [(one.number, one.day, one.moved) for one in former]
    if moved:
        number = 1 if newest is None else newest.id + 1
        latest.insert(0, (number, now.date().isoformat(), moved))
    return UpcomingEdition(
        frame=site_frame(session, number_marks(latest), base_url, first_numbers(session) or numbers_sha256),
        unit_names=unit_names(session),
        numbers=len(numbers),
        numbers_packed=zlib.compress(numbers_json, 1),
        numbers_sha256=numbers_sha256,
        before=before,
        former=former,
        moved=moved,
        sources=sources,
        made_from=made,
        numbers_from=numbers_from,
        last_change_id=last_change_id(session),
        now=now,
    )


def _unchanged(
    before: Sequence[PublishedNumber], sources: PageSources, made: Mapping[str, str], numbers_from: Mapping[str, str]
) -> dict[int, list[PublishedNumber]]:
    """Numbers of the trials whose rows are those of the edition before: they need not be read again."""
    found: dict[int, list[PublishedNumber]] = {
        trial: [] for trial in sources.trials if made.get(_key(trial)) == numbers_from[_key(trial)]
    }
    for number in before:
        if number.trial_id in found:
            found[number.trial_id].append(number)
    return found


def _key(trial_id: int) -> str:
    return f"numbers of trial {trial_id}"


def _former(session: Session) -> tuple[EditionOfSite, ...]:
    return tuple(
        EditionOfSite(one.id, one.published_at, one.numbers, moved_in(session, one), one.numbers_sha256)
        for one in all_editions(session)
    )
