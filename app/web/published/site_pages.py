"""Pages that exist once in a published site: ranking, pictures, costs and method."""

import csv
from io import StringIO
from typing import Any

import orjson
from sqlalchemy.orm import Session
from starlette.datastructures import QueryParams

from app.compute.clean_air.room_need import need_by_155_rule
from app.compute.method import METHOD_NAME, METHOD_VERSION
from app.compute.wording.numbers import counted
from app.errors import HazefallError
from app.figures.tables.formats import csv_text
from app.services.bench.choices import bench_choices
from app.services.ranking.rank_intervals import rank_view
from app.services.ranking.table import Ranking, rank_units
from app.services.snapshot.bench_snapshot import current_snapshot
from app.services.snapshot.choices import EVERY, HIGHEST, MOST_ROWS, QUIETEST, RankingChoices
from app.services.store.clear_level import CLEAR_LEVEL_WORDS
from app.web.api.ranking.routes import RankingQuery
from app.web.api.ranking.routes import ranking as ranking_answer
from app.web.forms.addresses import query_form
from app.web.forms.unit_system import METRIC, US, UnitSystem
from app.web.pages.bench.method import MethodPage
from app.web.pages.downloads.table_registry import make_table
from app.web.pages.ranking.lines import usual_lines
from app.web.pages.ranking.view import RankingPage, ranking_page
from app.web.published.change_pages import EditionOfSite
from app.web.published.site_frame import SiteFile, SiteFrame, rendered
from app.web.published.site_metadata import dataset_facts
from app.web.published.site_pictures import Picture, Pictures, named_chart
from app.web.templating.environment import environment

LINES_A_PAGE = 250
MOST_COMPARED = 8
_SWITCHES = "data/ranking-tables.js"


def ranking_files(session: Session, site: SiteFrame, edition: EditionOfSite) -> list[SiteFile]:
    """The ranking of all units at their highest setting, about a hundred lines per page, and its numbers."""
    form = query_form(QueryParams(""))
    total = rank_units(current_snapshot(session), RankingChoices(limit=1)).total_lines
    starts = range(0, max(total, 1), LINES_A_PAGE)
    pages = [(f"{start + 1} to {min(start + LINES_A_PAGE, total)}", _page_path(start)) for start in starts]
    files = []
    ranks = rank_view(current_snapshot(session)) if 0 < total <= MOST_ROWS else None
    for start in starts:
        ranking = rank_units(current_snapshot(session), RankingChoices(limit=LINES_A_PAGE, offset=start))
        shown = ranking_page(ranking, form, METRIC, rank_view=ranks)
        described: dict[str, Any] = {"description": shown.answer, "facts": dataset_facts(site, edition, shown.answer)}
        more: dict[str, Any] = described if start == 0 else {}
        switches = _SWITCHES if len(starts) == 1 and total else ""
        more |= _for_script(ranking, METRIC, shown) | {"pages": pages, "edition": edition, "switches": switches}
        files.append(rendered("ranking.html", site, _page_path(start), shown.title, body=shown, **more))
    return [*files, *([_switches(session, site)] if switches else []), *_ranking_numbers(session)]


def _for_script(ranking: Ranking, system: UnitSystem, shown: RankingPage) -> dict[str, Any]:
    """The lines, and what the script of the page filters and counts by: rates that count for a room, that is, those
    distinguishable from zero [m³/h], and power with its standard uncertainty [W], by unit and setting; the hours of use
    of the bench.
    """
    rates, watts = {}, {}
    for line in ranking.lines:
        row = line.row
        place = row.unit_id, row.setting or ""
        if line.has_rate:
            rates[place] = round(row.clean_air_delivery_rate_m3_per_h or 0.0, 2)
        if row.power_w is not None:
            watts[place] = f"{row.power_w:.6g} {row.power_uncertainty_w or 0:.4g}"
    per_m2 = round(need_by_155_rule(1.0).rate_m3_per_h, 4)
    return {
        "lines": usual_lines(ranking, system, shown.columns),
        "kinds": {line.row.unit_id: line.row.kind for line in ranking.lines},
        "rates": rates,
        "watts": watts,
        "rate_per_m2": per_m2,
        "system": system,
        "hours": ranking.offered.hours_per_day,
    }


def _switches(session: Session, site: SiteFrame) -> SiteFile:
    """The ranking at other settings and in the other unit system, as a script: a page from a disk can load nothing
    else. It is loaded where a reader asks for it.
    """
    tables, form = {}, query_form(QueryParams(""))
    for setting in (HIGHEST, QUIETEST, EVERY):
        for system in (METRIC, US):
            ranking = rank_units(current_snapshot(session), RankingChoices(setting=setting, limit=MOST_ROWS))
            shown = ranking_page(ranking, form, system)
            page = {"body": shown, "root": "", **_for_script(ranking, system, shown)}
            page |= {"switches": "", "path": "index.html"}
            template = environment().get_template("site/ranking_table.html")
            tables[f"{setting} {system.key}"] = template.render(site=site, page=page)
    return SiteFile(_SWITCHES, b"window.hazefallTables = " + orjson.dumps(tables) + b";\n")


def _page_path(start: int) -> str:
    return "index.html" if start == 0 else f"ranking-{start // LINES_A_PAGE + 1}.html"


def _ranking_numbers(session: Session) -> list[SiteFile]:
    tables, answers, offset = [], [], 0
    while True:
        query = QueryParams(f"setting={EVERY}&limit={MOST_ROWS}&offset={offset}")
        tables.append(csv_text(make_table(session, "ranking", query_form(query))))
        answer = ranking_answer(
            session,
            current_snapshot(session),
            RankingQuery(setting=EVERY, limit=MOST_ROWS, cursor=str(offset) if offset else None),
        ).model_dump(mode="json")
        answers.append(answer)
        offset += MOST_ROWS
        if answer["next_cursor"] is None:
            break
    whole = answers[0] | {"ranking": [line for answer in answers for line in answer["ranking"]], "next_cursor": None}
    lines = tables[0] + "".join(_without_head(table) for table in tables[1:])
    return [
        SiteFile("data/ranking.csv", lines.encode()),
        SiteFile("data/ranking.json", orjson.dumps(whole)),
    ]


def _without_head(table: str) -> str:
    out = StringIO()
    csv.writer(out).writerows(list(csv.reader(StringIO(table)))[1:])
    return out.getvalue()


def pictures_files(session: Session, site: SiteFrame, pictures: Pictures) -> list[SiteFile]:
    """Pictures of the whole bench, and the curves of the strongest units."""
    charts, files = _charts(
        session,
        (
            ("ranking", "limit=40", "ranking-picture"),
            ("clearing-times", "limit=40", "clearing-times"),
            ("decay-overlay", "", "decay-overlay"),
            ("frontier", "", "frontier"),
        ),
        pictures,
    )
    leading = rank_units(current_snapshot(session), RankingChoices(limit=MOST_COMPARED)).lines
    ids = [line.row.setting_id for line in leading if line.has_rate and line.row.setting_id is not None]
    tables = []
    if len(ids) >= 2:
        query = QueryParams("&".join(f"setting_id={one}" for one in ids))
        table = make_table(session, "comparison", query_form(query))
        files.append(SiteFile("data/comparison.csv", csv_text(table).encode()))
        units = {line.row.setting_id: line.row.unit_id for line in leading}
        tables.append((table, "data/comparison.csv", [site.unit_path(units[one]) for one in ids]))
    answer = f"{counted(len(charts), 'chart')} of all units, and the strongest units compared."
    title = "Charts"
    page = rendered(
        "tables_and_pictures.html",
        site,
        "pictures.html",
        title,
        description=answer,
        answer=answer,
        charts=charts,
        tables=tables,
    )
    return [page, *files]


def costs_files(session: Session, site: SiteFrame, pictures: Pictures) -> list[SiteFile]:
    """Costs of the units, if an electricity price is known."""
    title = "Running cost"
    charts: list[Picture] = []
    files: list[SiteFile] = []
    tables = []
    try:
        table = make_table(session, "running-cost", query_form(QueryParams("")))
        charts, files = _charts(
            session,
            (("cost-bars", "", "cost-bars"), ("cost-over-years", "", "cost-over-years")),
            pictures,
        )
        files.append(SiteFile("data/running-cost.csv", csv_text(table).encode()))
        tables.append((table, "data/running-cost.csv", ()))
        answer = (
            "Energy and consumables for one year, and the cost over several years. Where a price is missing, "
            "the cost is a lower bound."
        )
    except HazefallError as error:  # no tariff yet: the page says so
        answer = error.message
    page = rendered(
        "tables_and_pictures.html", site, "costs.html", title, description=answer, answer=answer, charts=charts,
        tables=tables,
    )  # fmt: skip
    return [page, *files]


def _charts(
    session: Session, wanted: tuple[tuple[str, str, str], ...], pictures: Pictures
) -> tuple[list[Picture], list[SiteFile]]:
    charts: list[Picture] = []
    files: list[SiteFile] = []
    for name, query, file_name in wanted:
        chart, of_chart = pictures.files(name, named_chart(session, name, query), file_name)
        files += of_chart
        if chart is not None:
            charts.append(chart)
    return charts, files


def method_file(session: Session, site: SiteFrame) -> SiteFile:
    choices = bench_choices(session)
    words = f"{choices.clear_level_value:g}: {CLEAR_LEVEL_WORDS[choices.clear_level_kind]}"
    body = MethodPage(METHOD_NAME, METHOD_VERSION, choices, words)
    return rendered("method.html", site, "method.html", "Method", description=METHOD_NAME, body=body)
