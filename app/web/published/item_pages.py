"""Pages of units and trials in the published site."""

from collections.abc import Callable
from functools import partial

import orjson
from sqlalchemy.orm import Session
from starlette.datastructures import QueryParams

from app.compute.wording.rounding import rounded_text
from app.figures.chart import Chart
from app.figures.tables.fact_sheet import fact_sheet_table
from app.figures.tables.formats import csv_text
from app.figures.tables.table import ExportCell, ExportTable
from app.services.bench.chart_facts import read_chart_facts
from app.services.data_package.write import raw_path
from app.services.history.change_history import ChangeFilter, described_changes
from app.services.logs.trial_fields import MARKS
from app.services.reviews.unit_overview import UnitOverview, trials_of_results, unit_overview
from app.services.reviews.verdicts import published_verdicts
from app.services.trials.detail import TrialDetail, trial_detail
from app.services.units.cursor_lists import MOST_ROWS
from app.web.downloads.chart_registry import dated_claims_chart
from app.web.forms.addresses import query_form
from app.web.forms.unit_system import unit_system
from app.web.pages.attachments.lines import trial_lines
from app.web.pages.trials.marks import found_seconds
from app.web.pages.trials.view import trial_page
from app.web.pages.units.more import unit_more
from app.web.pages.units.view import UnitPage, unit_page
from app.web.published.number_marks import NumberMark, quantity_of_row
from app.web.published.preview_card import card_file
from app.web.published.site_frame import SiteFile, SiteFrame, leads_to, rendered
from app.web.published.site_metadata import product_facts
from app.web.published.site_photos import photo_files, site_photos
from app.web.published.site_pictures import Picture, Pictures, named_chart


def unit_files(session: Session, site: SiteFrame, unit_id: int, pictures: Pictures) -> list[SiteFile]:
    """Page, fact sheet and pictures of a unit."""
    known, system = unit_overview(session, unit_id, most_trials=MOST_ROWS), unit_system("")
    shown = unit_page(known, query_form(QueryParams("")), system, unit_more(session, known, system))
    sheet = fact_sheet_table(known, trials_of_results(session, known), read_chart_facts(session))
    address = site.addresses.current[unit_id]
    card_path = f"cards/{address}.png"
    charts, files = _charts_of_unit(session, known, shown, address, pictures)
    page = rendered(
        "unit.html",
        site,
        site.unit_path(unit_id),
        shown.name,
        description=shown.answer,
        facts=product_facts(site, known, sheet, shown.answer),
        card=card_path,
        body=shown,
        charts=charts,
        photos=site_photos(shown.more.attachments),
        fact_sheet=sheet,
        moved=[_mark_of_row(site, unit_id, row) for row in sheet.rows],
        states={
            entry.trial.id: f"excluded: {entry.trial.excluded_why}"  # the name of the person is not published
            for entry in known.trials
            if entry.trial.excluded_at is not None
        },
        changes=described_changes(
            session,
            20,
            wanted=ChangeFilter(unit_id=unit_id, consequences=False, corrections_only=True, public_only=True),
        ).rows,
        verdict=published_verdicts(session, [unit_id]).get(unit_id),
    )
    numbers = {
        "unit_id": unit_id,
        "maker": known.unit.maker,
        "model": known.unit.model,
        "kind": known.unit.kind,
        "invented": site.invented,
        "conditions": sheet.conditions,
        "method_version": site.method_version,
        "facts": _facts(sheet),
        "trials": [line.id for line in shown.trials],
    }
    card = card_file(site, card_path, shown.name, shown.answer, pictures.made_from)
    data = orjson.dumps(numbers)
    own = [line for line in shown.more.attachments if line.trial_id is None]  # a trial has its photos beside its page
    photos = photo_files(session, own, pictures.made_from)
    return [page, *_at_all_addresses(site, unit_id, csv_text(sheet).encode(), data), card, *files, *photos]


def _charts_of_unit(
    session: Session, known: UnitOverview, shown: UnitPage, address: str, pictures: Pictures
) -> tuple[list[Picture], list[SiteFile]]:
    wanted: list[tuple[str, Callable[[], Chart], str]] = []
    if shown.has_curve:
        overlay = named_chart(session, "decay-overlay", shown.curve_query)
        wanted.append(("decay-overlay", overlay, f"{address}-decay"))
    if shown.more.has_claims_chart:
        wanted.append(("claims-measured", partial(dated_claims_chart, session, known), f"{address}-claims"))
    charts: list[Picture] = []
    files: list[SiteFile] = []
    for name, make, file_name in wanted:
        chart, of_chart = pictures.files(name, make, file_name)
        files += of_chart
        if chart is not None:
            charts.append(chart)
    return charts, files


def _facts(sheet: ExportTable) -> list[dict[str, object]]:
    keys = [column.key for column in sheet.columns]
    return [{key: _plain(cell) for key, cell in zip(keys, row, strict=True)} for row in sheet.rows]


def _at_all_addresses(site: SiteFrame, unit_id: int, table: bytes, data: bytes) -> list[SiteFile]:
    """The data of a unit, and the redirects from its former addresses.

    Those are of a version before editions, which numbered the units, and from before the unit was renamed.
    """
    folder, page = site.unit_folder(unit_id), site.unit_path(unit_id)
    _, *earlier = site.addresses.of_unit(unit_id)
    return [
        SiteFile(f"{folder}facts.csv", table),
        SiteFile(f"{folder}facts.json", data),
        SiteFile(f"units/{unit_id}.csv", table),
        SiteFile(f"units/{unit_id}.json", data),
        leads_to(site, f"units/{unit_id}.html", page),
        *(leads_to(site, f"units/{address}/index.html", page) for address in earlier),
    ]


def _mark_of_row(site: SiteFrame, unit_id: int, row: tuple[ExportCell, ...]) -> NumberMark | None:
    """The latest move of a row of the fact sheet."""
    quantity = quantity_of_row(row[0].value, row[1].value)
    return site.marks.of_setting(unit_id, row[1].value, quantity) if quantity else None


def _plain(cell: object) -> object:
    """A cell as JSON: the displayed text, with interval and bound beside the value."""
    value, low, high, bound = (getattr(cell, name) for name in ("value", "low", "high", "bound"))
    return {"value": value, "low_95": low, "high_95": high, "bound": bound} if low or bound else value


def trial_files(session: Session, site: SiteFrame, trial_id: int, pictures: Pictures) -> list[SiteFile]:
    """Page and decay curve of a trial, with everything its numbers depend on."""
    detail = trial_detail(session, trial_id)
    shown = trial_page(detail, (), query_form(QueryParams("")))
    attached = trial_lines(session, trial_id)
    chart: Picture | None = None
    files: list[SiteFile] = []
    if shown.figure_url:
        decay = named_chart(session, "trial-decay", shown.download_query)
        chart, files = pictures.files("trial-decay", decay, f"trial-{trial_id}", only_narrow=True)
    page = rendered(
        "trial.html",
        site,
        f"trials/{trial_id}.html",
        f"Trial {trial_id}: {shown.title}",
        description=shown.answer,
        body=shown,
        chart=chart,
        photos=site_photos(attached),
        raw_path=raw_path(detail.trial.log.sha256, site.things.raw_name(trial_id)),
        marks=_marks(detail),
        changes=described_changes(
            session, 50, wanted=ChangeFilter(trial_id=trial_id, corrections_only=True, public_only=True)
        ).rows,
    )
    return [page, *files, *photo_files(session, attached, pictures.made_from)]


def _marks(detail: TrialDetail) -> list[tuple[str, str, str]]:
    """Name, position in minutes, and whether a person set it or the analysis found it."""
    result = detail.channels[0].result if detail.channels else None
    marks = []
    detected = {} if result is None else found_seconds(result)
    for mark in MARKS:
        entered = getattr(detail.trial, mark.name)
        # the peak is a guess, not an end of the smoke
        found = None if mark.name == "smoke_end_s" else detected.get(mark.form_name)
        value = entered if entered is not None else found
        if value is not None:
            how = "set by a person" if entered is not None else "detected from the readings"
            marks.append((mark.label, f"{rounded_text(value / 60, 2)} min", how))
    if detail.trial.background_ug_m3 is not None:
        marks.append(("Background", f"{detail.trial.background_ug_m3:g} µg/m³", "set by a person"))
    return marks or [("Marks", "none", "")]
