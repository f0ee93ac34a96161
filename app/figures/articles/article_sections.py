"""An article from a draft: the sections that were chosen, with their charts, photos and tables."""

from collections.abc import Collection, Mapping
from dataclasses import replace

from app.figures.tables.table import ExportTable
from app.services.reviews.wording import Draft, DraftPicture, DraftSection, join_spans

ALWAYS = "cautions"  # no article goes out without them
# the section that a chart belongs to
_OF_CHART = {
    "decay-overlay": "results",
    "ranking": "compared",
    "clearing-times": "compared",
    "frontier": "compared",
    "sound-spectra": "sound",
    "cost-bars": "cost",
    "cost-over-years": "cost",
    "price-history": "cost",
    "claims-measured": "claims",
}


def article_draft(
    draft: Draft,
    parts: Collection[str],
    charts: Mapping[str, DraftPicture],
    photos: Mapping[str, DraftPicture],
    tables: Collection[ExportTable],
) -> Draft:
    """The draft with the chosen sections alone.

    charts : name of a chart to its picture, in the section that it belongs to; of one left out, at the end
    photos : address of a photo on the bench to its picture; others are left out
    """
    placed: dict[str, list[DraftPicture]] = {}
    chosen = [section for section in draft.sections if section.key in parts or section.key == ALWAYS]
    keys = {section.key for section in chosen}
    for name, picture in charts.items():
        placed.setdefault(_OF_CHART[name] if _OF_CHART[name] in keys else "", []).append(picture)
    sections = [
        replace(
            section,
            pictures=(
                *placed.get(section.key, ()),
                *(photos[one.address] for one in section.pictures if one.address in photos),
            ),
        )
        for section in chosen
    ]
    shown = {one.address for section in chosen for one in section.pictures}
    further = (*placed.get("", ()), *(picture for address, picture in photos.items() if address not in shown))
    if further:
        sections.append(DraftSection("pictures", "Pictures", pictures=tuple(further)))
    sections += [table_section(table) for table in tables]
    return replace(draft, sections=tuple(sections))


def table_section(table: ExportTable) -> DraftSection:
    """A table as a section: the same texts as its own downloads have."""
    heads = tuple(join_spans(column.words) for column in table.columns)
    rows = (
        tuple(
            join_spans((cell.text if column.is_number else cell.value) or "–")
            for column, cell in zip(table.columns, row, strict=True)
        )
        for row in table.rows
    )
    return DraftSection(
        f"table-{table.name}",
        table.caption,
        table=(heads, *rows),
        table_caption=table.caption,
        table_foot=table.foot,
    )
