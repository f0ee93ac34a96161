"""Figures of the other units that a draft mentions; a published text depends on them too."""

from collections.abc import Collection, Mapping

from sqlalchemy.orm import Session

from app.services.ranking.rank_intervals import rank_view
from app.services.ranking.rows import read_ranking_table
from app.services.reviews.alternatives import alternatives
from app.services.reviews.figures import OTHER, Figure, figures_of_other
from app.services.snapshot.choices import HIGHEST, RankingChoices

NAMED = f"{OTHER}named"


def referenced_figures(
    session: Session, unit_ids: Collection[int], also: Mapping[int, Collection[int]] | None = None
) -> dict[int, tuple[Figure, ...]]:
    """For each unit, the alternatives that its draft mentions now, and their figures; one read for all.

    also : unit id to further units to include, such as those mentioned when a text was saved
    """
    if not unit_ids:
        return {}
    choices = RankingChoices(setting=HIGHEST)
    table = read_ranking_table(session, choices)
    view = rank_view(session, choices, table=table)
    lines = {line.row.unit_id: line for line in table.lines}
    found = {}
    for unit_id in unit_ids:
        named = alternatives(view, lines.get(unit_id))
        names = sorted(other.name for other in named)
        told = Figure(NAMED, "stronger or cheaper units that the draft names", None, "; ".join(names) or "none")
        wanted = dict.fromkeys([*(other.line.row.unit_id for other in named), *(also or {}).get(unit_id, ())])
        figures = [figure for one in wanted if one in lines for figure in figures_of_other(lines[one])]
        found[unit_id] = (told, *figures)
    return found


def others_of(figures: Collection[Figure]) -> tuple[int, ...]:
    """Ids of the other units that figures refer to.

    >>> others_of([Figure(key, "", None, "") for key in ("other:named", "other:7:rate", "price")])
    (7,)
    """
    parts = [figure.key.split(":") for figure in figures if figure.key.startswith(OTHER) and figure.key != NAMED]
    return tuple(dict.fromkeys(int(part[1]) for part in parts))
