"""Pages of what changed: the changes page, a page for each edition, and the feed."""

import csv
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from io import StringIO
from uuid import NAMESPACE_URL, uuid5

from sqlalchemy.orm import Session

from app.compute.wording.numbers import counted, listed
from app.figures.tables.chart_table import defused
from app.services.history.change_history import ChangeFilter, described_changes
from app.services.history.reader_news import News, reader_news
from app.services.publishing.editions import moment, moved_path
from app.services.publishing.numbers.moved import GONE, MOVED, NEW, MovedNumber, moved_file
from app.web.published.number_marks import edition_page
from app.web.published.site_frame import SiteFile, SiteFrame, rendered
from app.web.templating.environment import environment

MOST_CORRECTIONS = 500
ROWS_A_PART = 250
_FEED_ENTRIES = 50
_REASONS_NAMED = 3


@dataclass(frozen=True, slots=True)
class EditionOfSite:
    """An edition as its pages and the feed show it. `moved` is empty for the first edition."""

    number: int
    at: datetime
    numbers: int
    moved: tuple[MovedNumber, ...]
    numbers_sha256: str

    @property
    def day(self) -> str:
        return self.at.date().isoformat()

    @property
    def title(self) -> str:
        return f"Edition {self.number}: {self.summary}"

    @property
    def summary(self) -> str:
        """How many numbers moved, came and went, and the commonest reasons."""
        if self.number == 1:
            return f"the first, with {counted(self.numbers, 'published number')}"
        if not self.moved:
            return "no published number moved"
        kinds = Counter(one.kind for one in self.moved)
        words = ((MOVED, "moved"), (NEW, "new"), (GONE, GONE))
        parts = [f"{counted(kinds[kind], 'number')} {word}" for kind, word in words if kinds[kind]]
        return listed(parts)

    @property
    def reasons(self) -> str:
        """The commonest reasons, each with how many numbers it concerns."""
        common = Counter(one.why for one in self.moved).most_common(_REASONS_NAMED)
        return "; ".join(f"{why} ({counted(number, 'number')})" for why, number in common)

    @property
    def page(self) -> str:
        return edition_page(self.number)

    @property
    def of_units(self) -> tuple[MovedNumber, ...]:
        """The numbers of units and settings; those of single trials follow on the edition's page."""
        return tuple(one for one in self.moved if one.trial_id is None)

    @property
    def in_order(self) -> tuple[MovedNumber, ...]:
        return (*self.of_units, *(one for one in self.moved if one.trial_id is not None))


def by_item(rows: Sequence[MovedNumber]) -> list[tuple[str, list[MovedNumber]]]:
    """What moved, by the unit or trial that it belongs to, in the order in which these first occur."""
    found: dict[str, list[MovedNumber]] = {}
    for one in rows:
        found.setdefault(one.item, []).append(one)
    return list(found.items())


def edition_files(site: SiteFrame, edition: EditionOfSite) -> list[SiteFile]:
    """The page of an edition, in parts where the list is long, and the list as JSON and CSV. Never changed later."""
    rows = edition.in_order
    starts = range(0, max(len(rows), 1), ROWS_A_PART)
    parts = [
        (f"{start + 1} to {min(start + ROWS_A_PART, len(rows))}", edition_page(edition.number, place))
        for place, start in enumerate(starts, start=1)
    ]
    pages = [
        rendered(
            "edition.html", site, path, f"Edition {edition.number}", description=edition.title,
            edition=edition,
            rows=by_item(rows[start : start + ROWS_A_PART]), parts=parts,
        )
        for (_, path), start in zip(parts, starts, strict=True)
    ]  # fmt: skip
    return [
        *pages,
        SiteFile(moved_path(edition.number), moved_file(edition.moved)),
        SiteFile(f"editions/{edition.number}/moved.csv", _as_csv(rows).encode()),
    ]


def _as_csv(rows: Sequence[MovedNumber]) -> str:
    out = StringIO()
    writer = csv.writer(out)
    writer.writerow(["item", "of", "quantity", "unit_of_measure", "before", "after", "kind", "why"])
    for one in rows:
        texts = (one.item, one.of, one.quantity, one.unit_of_measure, one.before, one.after, one.kind, one.why)
        writer.writerow([defused(text) for text in texts])
    return out.getvalue()


def changes_files(session: Session, site: SiteFrame, editions: Sequence[EditionOfSite]) -> list[SiteFile]:
    """What moved in the newest edition, all editions, and the corrections; and the same as an Atom feed (RFC 4287).

    editions : newest first
    """
    corrections = described_changes(
        session, MOST_CORRECTIONS, wanted=ChangeFilter(corrections_only=True, public_only=True)
    ).rows
    units, trials = set(site.things.units), set(site.things.trials)
    of_units = editions[0].of_units
    page = rendered(
        "changes.html", site, "changes.html", "Changes", description=editions[0].title, body=corrections,
        units=units, trials=trials,
        editions=editions, newest=editions[0], rows=by_item(of_units[:ROWS_A_PART]),
        shown=min(len(of_units), ROWS_A_PART),
    )  # fmt: skip
    return [page, _feed(session, site, editions)]


def _feed(session: Session, site: SiteFrame, editions: Sequence[EditionOfSite]) -> SiteFile:
    """Editions in which numbers moved, and single corrections, newest first. Identities do not depend on the URL."""
    news = reader_news(session, _FEED_ENTRIES)
    units, trials = set(site.things.units), set(site.things.trials)
    entries = [_entry(one, site, trials, units) for one in news]
    entries += [_edition_entry(one, site) for one in editions if one.moved or one.number == 1]
    entries.sort(key=lambda entry: (entry["updated"], entry["id"]), reverse=True)
    feed = {
        "id": _identity(site, "feed"),
        "base": site.base_url,
        "updated": max(entry["updated"] for entry in entries),
        "entries": entries[:_FEED_ENTRIES],
    }
    text = environment().get_template("site/feed.xml").render(site=site, feed=feed)
    return SiteFile("feed.xml", text.encode())


def _identity(site: SiteFrame, what: str) -> str:
    return f"urn:uuid:{uuid5(NAMESPACE_URL, f'hazefall {site.identity} {what}')}"


def _entry(news: News, site: SiteFrame, trials: set[int], units: set[int]) -> dict[str, str]:
    path = "changes.html"
    if news.trial_id in trials:
        path = f"trials/{news.trial_id}.html"
    elif news.trial_id is None and news.unit_id in units:
        path = site.unit_path(news.unit_id or 0)
    return {
        "title": news.title,
        "id": _identity(site, f"change {news.id}"),
        "updated": moment(news.at),
        "path": site.absolute(path) if site.base_url else path,
        "summary": news.words,
    }


def _edition_entry(edition: EditionOfSite, site: SiteFrame) -> dict[str, str]:
    moves = [f"{one.words} {one.from_to}" for one in edition.of_units[:5]]
    more = len(edition.of_units) - len(moves)
    parts = [f"{edition.title}."]
    parts += [f"Why: {edition.reasons}."] if edition.moved else []
    if moves:
        rest = f"; and {counted(more, 'more number')} of units" if more else ""
        parts.append(f"{'; '.join(moves)}{rest}.")
    return {
        "title": edition.title,
        "id": _identity(site, f"edition {edition.number}"),
        "updated": moment(edition.at),
        "path": site.absolute(edition.page) if site.base_url else edition.page,
        "summary": " ".join(parts),
    }
