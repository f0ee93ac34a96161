"""Draft review of one unit as an article: headline and finding first, results, details, and the method last."""

from sqlalchemy.orm import Session

from app.services.history.latest_data_date import EVERYTHING, latest_data_date
from app.services.reviews import readers, sections
from app.services.reviews.chosen_photos import with_photos
from app.services.reviews.facts import ReviewFacts, review_facts
from app.services.reviews.other_units import against_others
from app.services.reviews.points import versions_of_points, with_edits
from app.services.reviews.results import headline, results
from app.services.reviews.rules import STRENGTH, WEAKNESS, points_of
from app.services.reviews.wording import Draft, DraftPoint, DraftSection
from app.services.snapshot.bench_snapshot import current_snapshot


def review_draft(session: Session, unit_id: int) -> Draft:
    """The current draft with the latest edits. Raises NotFound for an unknown unit."""
    facts = review_facts(session, unit_id)
    points = with_edits(points_of(facts), versions_of_points(session, unit_id))
    newest = latest_data_date(current_snapshot(session), EVERYTHING, [unit_id])
    dated = f" Latest data: {newest}." if newest else ""
    return Draft(
        unit_id=unit_id,
        title=headline(facts),
        sections=with_photos(session, unit_id, _sections(facts, points)),
        foot=f"{facts.chart_facts.source_line()}{dated}",
        others=tuple(other.unit_id for other in facts.others),
    )


def _sections(facts: ReviewFacts, points: tuple[DraftPoint, ...]) -> tuple[DraftSection, ...]:
    unit, costs = facts.page(), facts.costs_page
    # Per section, the page linked from numbers that have no trial or page of their own.
    parts = (
        (sections.does_it_clean(facts), unit),
        (results(facts), unit),
        (DraftSection("strengths", "Strengths", points=tuple(p for p in points if p.kind == STRENGTH)), unit),
        (DraftSection("weaknesses", "Weaknesses", points=tuple(p for p in points if p.kind == WEAKNESS)), unit),
        (readers.who_should_buy(facts), "/room"),
        (readers.who_should_not(facts), "/room"),
        (against_others(facts), "/compare"),
        (sections.how_loud(facts), facts.page("sound")),
        (sections.how_much_power(facts), facts.page("power")),
        (sections.what_it_costs(facts), costs),
        (sections.what_is_claimed(facts), facts.page("claims")),
        (readers.cautions(facts), unit),
        (readers.disclosure(facts), facts.page("edit")),
        (sections.what_it_is(facts), unit),
        (sections.how_it_was_tested(facts), "/method"),
    )
    return tuple(section.with_linked_numbers(address, facts.names) for section, address in parts)
