"""What every page shows around its content: name of the bench, demo notice, navigation."""

from dataclasses import dataclass
from functools import lru_cache
from importlib.metadata import PackageNotFoundError, version

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.storage.models.bench import Bench

# label and path of each entry
NAVIGATION: tuple[tuple[str, str], ...] = (
    ("Ranking", "/"),
    ("Decay curves", "/curves"),
    ("Running cost", "/costs"),
    ("Find a unit", "/room"),
    ("Listen", "/listen"),
    ("Compare", "/compare"),
    ("Units", "/units"),
    ("Trials", "/trials"),
    ("Plan", "/plan"),
    ("Live", "/live"),
    ("Add a trial", "/trials/add"),
)


@dataclass(frozen=True, slots=True)
class Place:
    """One navigation entry; `here` marks the current one."""

    words: str
    path: str
    here: bool


@dataclass(frozen=True, slots=True)
class Shell:
    """The frame of a page, passed to every template as `shell` besides the page's own `page`.

    address : path and query of this page
    charts : the page loads Plotly; only such pages may use style attributes
    """

    bench_name: str
    invented: bool
    scenario: str
    navigation: tuple[Place, ...]
    address: str = "/"
    version: str = ""
    charts: bool = False


@lru_cache
def program_version() -> str:
    """Version of the installed program; "0" in a checkout that was never installed."""
    try:
        return version("hazefall")
    except PackageNotFoundError:
        return "0"


def make_shell(
    path: str, address: str = "", bench_name: str = "Bench", invented: bool = False, scenario: str = ""
) -> Shell:
    """The frame for a path; the entry with the longest matching path is the current one."""
    path = path.replace("/plans", "/plan", 1)  # stored campaigns belong to the page that plans them
    fitting = [entry for _, entry in NAVIGATION if path == entry or (entry != "/" and path.startswith(entry + "/"))]
    here = max(fitting, key=len, default="")
    places = tuple(Place(words, entry, entry == here) for words, entry in NAVIGATION)
    return Shell(bench_name, invented, scenario, places, address or path or "/", program_version())


def read_shell(session: Session, path: str, address: str = "") -> Shell:
    """The frame from the store; a store without its bench row counts as an unnamed bench."""
    row = session.execute(select(Bench.name, Bench.invented, Bench.scenario)).first()
    return make_shell(path, address) if row is None else make_shell(path, address, row[0], row[1], row[2])


@dataclass(frozen=True, slots=True)
class Choice:
    """One option of a select."""

    value: str
    words: str
    chosen: bool = False


@dataclass(frozen=True, slots=True)
class PageLinks:
    """Position of the shown part of a long list, and the URLs before and after it ("" if none)."""

    first: int
    last: int
    total: int
    previous_address: str = ""
    next_address: str = ""


@dataclass(frozen=True, slots=True)
class Column:
    """A column header: label, unit, URL that sorts by it, and the current sorting ("" if none)."""

    key: str
    words: str
    unit_symbol: str
    sort_address: str
    sorted_now: str
    has_bar: bool = False


@dataclass(frozen=True, slots=True)
class Switch:
    """A choice made by following a link; the current one is not a link."""

    name: str
    options: tuple[tuple[str, str, bool], ...]  # label, URL, chosen


def rows_class(rows: int) -> str:
    """CSS class of a chart area with room for this many names, in steps of five.

    >>> rows_class(3), rows_class(26), rows_class(90)
    ('rows-5', 'rows-30', 'rows-40')
    """
    return f"rows-{min(max(5 * -(-rows // 5), 5), 40)}"
