"""The feed of a published site, checked against the rules of Atom.

Rules: RFC 4287, sections 3.1 to 4.2 (from memory), checked here element by element.
"""

import re
from collections import Counter
from datetime import datetime
from urllib.parse import urlsplit
from xml.etree import ElementTree

import pytest
from sqlalchemy import Engine, update

from app.services.reviews.verdicts import save_verdict
from app.storage.engine import session_scope
from app.storage.models.bench import Bench
from app.web.published.change_pages import changes_files
from app.web.published.upcoming_edition import read_upcoming_edition
from tests.conftest import NOW
from tests.web.tried_bench import TriedBench

ATOM = "{http://www.w3.org/2005/Atom}"
_ONCE = {"id", "title", "updated"}
_AT_MOST_ONCE = {"subtitle", "generator", "icon", "logo", "rights", "summary", "content", "published", "source"}
_KNOWN = {
    "feed": _ONCE | {"author", "category", "contributor", "generator", "icon", "link", "logo", "rights", "subtitle"},
    "entry": _ONCE
    | {"author", "category", "content", "contributor", "link", "published", "rights", "source", "summary"},
}


def faults_of(feed: ElementTree.Element) -> list[str]:
    """What breaks the rules; an empty list for a feed that follows them."""
    faults = [] if feed.tag == f"{ATOM}feed" else [f"the document is {feed.tag}"]
    entries = feed.findall(f"{ATOM}entry")
    for what, one in [("feed", feed), *(("entry", entry) for entry in entries)]:
        children = Counter(child.tag.removeprefix(ATOM) for child in one)
        faults += [f"{what} has {children[name]} {name}" for name in _ONCE if children[name] != 1]
        faults += [f"{what} has {children[name]} {name}" for name in _AT_MOST_ONCE if children[name] > 1]
        faults += [
            f"{what} has a {name}" for name in set(children) - _KNOWN[what] - ({"entry"} if what == "feed" else set())
        ]
        identity = (one.findtext(f"{ATOM}id") or "").strip()
        if not re.fullmatch(r"urn:[a-z0-9]+:\S+", identity) and not urlsplit(identity).netloc:
            faults.append(f"{what} has the id {identity!r}, which is no absolute IRI")
        try:
            moment = datetime.fromisoformat(one.findtext(f"{ATOM}updated") or "")
            faults += [] if moment.tzinfo else [f"{what} was updated at a time without zone"]
        except ValueError as error:
            faults.append(str(error))
        if not (one.findtext(f"{ATOM}title") or "").strip():
            faults.append(f"{what} has an empty title")
        links = one.findall(f"{ATOM}link")
        faults += [f"{what} has a link without href" for link in links if not link.get("href")]
        kinds = Counter((link.get("rel", "alternate"), link.get("type"), link.get("hreflang")) for link in links)
        faults += [f"{what} has {n} links {kind}" for kind, n in kinds.items() if n > 1 and kind[0] == "alternate"]
        if what == "entry" and one.find(f"{ATOM}content") is None and ("alternate", "text/html", None) not in kinds:
            faults.append("an entry has neither content nor a page")
        if what == "entry" and one.find(f"{ATOM}author") is None and feed.find(f"{ATOM}author") is None:
            faults.append("an entry has no author, and its feed has none")
    faults += [
        f"{n} people without a name"
        for n in [sum(not a.findtext(f"{ATOM}name") for a in feed.iter(f"{ATOM}author"))]
        if n
    ]
    if "self" not in {link.get("rel") for link in feed.findall(f"{ATOM}link")}:
        faults.append("the feed does not say where it is")
    ids = Counter(entry.findtext(f"{ATOM}id") for entry in entries)
    faults += [f"{n} entries are {identity}" for identity, n in ids.items() if n > 1]
    return faults


@pytest.fixture(autouse=True)
def _bench(tried_bench: TriedBench) -> None:
    """A bench that was worked on."""


def feed_of(store: Engine, base_url: str = "") -> ElementTree.Element:
    with session_scope(store, writes=False) as session:
        upcoming = read_upcoming_edition(session, base_url, NOW)
        files = {file.path: file.content for file in changes_files(session, upcoming.frame, upcoming.editions(1))}
    return ElementTree.fromstring(files["feed.xml"] or b"")


@pytest.mark.parametrize("base_url", ["", "https://bench.example/air"])
def test_the_feed_follows_the_rules_of_atom(store: Engine, base_url: str):
    with session_scope(store) as session:
        save_verdict(session, 1, "Strong & <b>loud</b>.", "published")
        session.execute(update(Bench).values(name="Bench & <Sons>"))
    feed = feed_of(store, base_url)
    assert faults_of(feed) == []
    assert len(feed.findall(f"{ATOM}entry")) > 5
    assert feed.findtext(f"{ATOM}title") == "Bench & <Sons>: changes and corrections"


def test_the_check_sees_what_is_wrong(store: Engine):
    feed = feed_of(store)
    entry = feed.find(f"{ATOM}entry")
    assert entry is not None
    entry.remove(entry.find(f"{ATOM}id"))  # type: ignore[arg-type]
    entry.find(f"{ATOM}updated").text = "2026-03-02"  # type: ignore[union-attr]
    feed.remove(feed.find(f"{ATOM}author"))  # type: ignore[arg-type]
    words = " ".join(faults_of(feed))
    for fault in ("entry has 0 id", "no absolute IRI", "a time without zone", "an entry has no author"):
        assert fault in words


def test_each_entry_leads_to_the_page_of_its_thing_in_plain_words(store: Engine):
    entries = feed_of(store).findall(f"{ATOM}entry")
    for entry in entries:
        title, summary = entry.findtext(f"{ATOM}title") or "", entry.findtext(f"{ATOM}summary") or ""
        assert not re.search(r"[a-z]_[a-z]", title + summary), title  # no name of a stored field
        href = entry.find(f"{ATOM}link").get("href")  # type: ignore[union-attr]
        number = re.search(r"Trial (\d+)", title)
        assert href == (f"trials/{number[1]}.html" if number else href)
        assert re.fullmatch(r"trials/\d+\.html|(units/[a-z0-9-]+|editions/1)/index\.html|changes\.html", href or "")


def test_entries_are_in_date_order(store: Engine):
    days = [entry.findtext(f"{ATOM}updated") or "" for entry in feed_of(store).findall(f"{ATOM}entry")]
    assert days == sorted(days, reverse=True)
    assert feed_of(store).findtext(f"{ATOM}updated") == days[0]


def test_links_are_whole_where_the_site_has_a_url(store: Engine):
    links = [link.get("href") or "" for link in feed_of(store, "https://bench.example/air").iter(f"{ATOM}link")]
    assert all(link.startswith("https://bench.example/air/") for link in links)
    assert not [link for link in links if link.endswith("index.html")]
