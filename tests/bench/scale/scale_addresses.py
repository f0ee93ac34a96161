"""URLs requested by the scale benchmark: one for each route with a page or a list.

They are built from the route permissions, so that a new page cannot be forgotten.
"""

import html
import re
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from app.web.security.permissions import LEAST_ROLE

# Routes that are no page of a bench, each with the reason.
NOT_MEASURED = {
    "/sign-in": "only where accounts exist",
    "/account": "only where accounts exist",
    "/accounts": "only where accounts exist",
    "/accounts/{account_id}": "only where accounts exist",
    "/trials/add/{token}": "an upload of the moment, not of the bench",
    "/trials/add/{token}/sound": "an upload of the moment, not of the bench",
    "/trials/add/{token}/power": "an upload of the moment, not of the bench",
    "/trials/add/{token}/figure.json": "an upload of the moment, not of the bench",
    "/enter/{token}": "lets a browser in once",
    "/attachments/{attachment_id}/file": "a file as it was uploaded",
    "/attachments/{attachment_id}/{size}.jpg": "a file as it was uploaded",
    "/api/attachments/{attachment_id}/file": "a file as it was uploaded",
    "/live/{run_id}": "a run of the moment, not of the bench",
    "/api/runs/{run_id}": "a run of the moment, not of the bench",
    "/api/runs/{run_id}/stream": "a run of the moment, not of the bench",
    "/api/editions/{number}": "an edition as it was published",
    "/logger-checks/{check_id}": "a comparison of two loggers, which not every bench has",
    "/api/logger-checks/{check_id}": "a comparison of two loggers, which not every bench has",
    "/plans/{plan_id}": "a campaign, which not every bench has",
    "/api/plans/{plan_id}": "a campaign, which not every bench has",
    "/progress/{key}": "work of the moment, not of the bench",
    "/listen/{clip_id}.wav": "a recording as it was uploaded",
    "/api/trials/{trial_id}/log": "a file as it was uploaded",
    "/figures/{name}.json": "measured with the page that shows the drawing",
    "/charts/{name}.{chart_format}": "a file to take away",
    "/tables/{name}.{table_format}": "a file to take away",
    "/units/{unit_id}/draft.{draft_format}": "a file to take away",
    "/units/{unit_id}/article-{export}": "a file to take away",
    "/package.zip": "the whole bench to take away",
    "/bulk/{kind}.csv": "the whole bench to take away",
    "/api/problems/{kind}": "a text of the program",
}

# What a route needs besides its ids.
_QUERY = {
    "/search": "?q={word}",
    "/api/trials/{trial_id}/readings": "?channel=pm2_5&max_points=2000",
    "/api/comparison": "?setting_id={setting_id}&setting_id={other_setting_id}",
}
# Further views of a route, which a reader of a large bench comes to.
_FURTHER = (
    "/?setting=every",
    "/?setting=quietest&sort=running_cost",
    "/units?search={word}",
    "/trials?search={word}",
)
_FIGURE = re.compile(r'data-figure-url="([^"]+)"')


@dataclass(frozen=True, slots=True)
class BenchIds:
    """What the places of an address are filled with on one bench."""

    unit_id: int
    trial_id: int
    room_id: int
    logger_id: int
    source_id: int
    setting_id: int
    other_setting_id: int
    word: str


def measured_addresses() -> tuple[str, ...]:
    """Every measured address, with its places still to be filled."""
    routes = [route.removeprefix("GET ") for route in LEAST_ROLE if route.startswith("GET ")]
    pages = [route + _QUERY.get(route, "") for route in routes if route not in NOT_MEASURED]
    return (*pages, *_FURTHER)


def ids_of(store: Path) -> BenchIds:
    """A unit with as many trials as usual, its newest trial, and the room of that."""
    with closing(sqlite3.connect(store)) as connection:
        unit_id, model = connection.execute(
            "SELECT u.id, u.model FROM units_under_test u JOIN trials t ON t.unit_under_test_id = u.id "
            "WHERE u.trashed_at IS NULL GROUP BY u.id ORDER BY count(*), u.id LIMIT 1 "
            "OFFSET (SELECT count(DISTINCT unit_under_test_id) / 2 FROM trials)"
        ).fetchone()
        trial_id, room_id, logger_id, source_id = connection.execute(
            "SELECT id, room_id, logger_id, smoke_source_id FROM trials WHERE unit_under_test_id = ? "
            "AND trashed_at IS NULL ORDER BY id DESC LIMIT 1",
            (unit_id,),
        ).fetchone()
        settings = connection.execute(
            "SELECT DISTINCT setting_id FROM setting_summaries ORDER BY setting_id LIMIT 2"
        ).fetchall()
    return BenchIds(
        unit_id,
        trial_id,
        room_id,
        logger_id or 1,
        source_id or 1,
        *(one for (one,) in settings),
        str(model).split()[-1],
    )


def filled(address: str, ids: BenchIds) -> str:
    """
    >>> filled("/units/{unit_id}", BenchIds(7, 1, 1, 1, 1, 1, 2, "word"))
    '/units/7'
    """
    return address.format(**{name: getattr(ids, name) for name in BenchIds.__slots__})


def figure_addresses(page: str) -> tuple[str, ...]:
    """The addresses from which a page takes the data of its drawings."""
    return tuple(html.unescape(found) for found in _FIGURE.findall(page))
