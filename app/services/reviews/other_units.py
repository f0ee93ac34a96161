"""How a draft compares a unit with its alternatives: what each is better at, what it is worse at, and what is a tie."""

from collections.abc import Sequence

from app.services.ranking.compared_quantities import CLEAN_AIR, PRICE, RUNNING_COST, SOUND
from app.services.reviews.facts import OtherUnit, PairFact, ReviewFacts
from app.services.reviews.wording import DraftSection, Span, Spans, join_spans, link_numbers, linked_trials

STRONGER_AND_CHEAPER, STRONGER = "stronger and cheaper", "stronger, not cheaper"
CHEAPER_AND_ALIKE, CHEAPER_AND_WEAKER = "cheaper, about as strong", "cheaper, weaker"
# The first unit of each kind and those after it, of which a draft names four at most; the name stands for {}.
_LEADS = {
    STRONGER_AND_CHEAPER: (
        "{} is both stronger and cheaper: it ",
        "So is {}: it ",
        "The same holds for {}: it ",
        "{} is stronger for less money, too: it ",
    ),
    STRONGER: ("{} is stronger, but not cheaper: it ", "{} is stronger as well, at no lower price: it "),
    CHEAPER_AND_ALIKE: ("{} is cheaper and about as strong: it ", "{} is about as strong for less, too: it "),
    CHEAPER_AND_WEAKER: ("{} is cheaper, but weaker: it ", "{} is also cheaper and weaker: it "),
}
_STRONGER_WITHOUT_PRICE = "{} is stronger; the prices of the two cannot be compared. It "
_QUANTITIES = {CLEAN_AIR: "clean air", SOUND: "sound", PRICE: "price", RUNNING_COST: "running cost"}


def against_others(facts: ReviewFacts) -> DraftSection:
    found: list[Spans] = []
    for lead in _LEADS:
        alike = [other for other in facts.others if lead_of(other) == lead]
        found += [
            _other_text(facts, other, _LEADS[lead][min(place, len(_LEADS[lead]) - 1)])
            for place, other in enumerate(alike)
        ]
    none = join_spans("No tested unit is clearly stronger, and none that cleans measurably is cheaper.")
    first = join_spans("All compared at their highest settings.") if found else none
    return DraftSection("compared", "Compared with other tested units", (first, *found))


def lead_of(other: OtherUnit) -> str:
    """What another unit is, compared with the one under review, as the comparison of the two supports it."""
    if other.stronger:
        return STRONGER_AND_CHEAPER if other.cheaper else STRONGER
    return CHEAPER_AND_WEAKER if other.weaker else CHEAPER_AND_ALIKE


def _other_text(facts: ReviewFacts, other: OtherUnit, lead: str) -> Spans:
    own = facts.highest.row.setting_id if facts.highest else 0
    address = f"/compare?setting_id={own}&setting_id={other.setting_id}"
    if lead_of(other) == STRONGER and not any(fact.quantity == PRICE for fact in other.facts):
        lead = _STRONGER_WITHOUT_PRICE
    before, _, after = lead.partition("{}")
    words = link_numbers(f"{after}{_compared(other.facts, facts.known.unit.model)}", address, facts.names)
    tested = join_spans(" [trials ", linked_trials(other.trial_ids), "]") if other.trial_ids else ()
    return join_spans(before, Span(other.name, f"/units/{other.unit_id}"), words, tested)


def _compared(facts: Sequence[PairFact], own: str) -> str:
    """What the other unit is better at, what the one under review is better at, and the ties."""
    its = [_phrase(fact) for fact in facts if fact.better == "other"]
    ours = [_phrase(fact) for fact in facts if fact.better == "own"]
    ties = [_QUANTITIES[fact.quantity] for fact in facts if fact.better == ""]
    sentence = _joined(its) if its else "has no advantage that could be measured"
    if ours:
        sentence += f", but {own} {_joined(ours)}"
    if ties:
        sentence += f"; by {_joined(ties, 'or')} the two cannot be told apart"
    return f"{sentence}."


def _phrase(fact: PairFact) -> str:
    """
    >>> _phrase(PairFact(RUNNING_COST, "own", "costs 98 USD less per year; between 47 and 149"))
    'costs 98 USD less per year (47 to 149) to run'
    """
    statement, semicolon, interval = fact.words.partition("; between ")
    within = f" ({interval.replace(' and ', ' to ')})" if semicolon else ""
    return f"{statement}{within}{' to run' if fact.quantity == RUNNING_COST else ''}"


def _joined(phrases: Sequence[str], word: str = "and") -> str:
    return f" {word} ".join([", ".join(phrases[:-1]), phrases[-1]] if len(phrases) > 1 else phrases)
