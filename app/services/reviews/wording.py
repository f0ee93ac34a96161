"""Words of a draft: text in which every number carries the address of what it rests on."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

# a day, or a number that stands by itself: the figures in "PM2.5", "A-300" and the setting “4” are names
_NUMBER = re.compile(r"(?<![\w.-])(?!(?<=“)\d+”)(?:\d{4}-\d\d-\d\d|\u2212?\d[\d.,\u202f]*(?<![.,]))(?![\w-])")


@dataclass(frozen=True, slots=True)
class Span:
    """A piece of text; `address` is the page behind it, "" where it needs none."""

    text: str
    address: str = ""


Words = tuple[Span, ...]


def said(*parts: str | Span | Iterable[Span]) -> Words:
    """Texts, spans and words as one line of words.

    >>> plain(said("It draws ", Span("40 W", "/units/1/power"), "."))
    'It draws 40 W.'
    """
    found: list[Span] = []
    for part in parts:
        if isinstance(part, str):
            found.append(Span(part))
        elif isinstance(part, Span):
            found.append(part)
        else:
            found.extend(part)
    return tuple(span for span in found if span.text)


def from_trials(number: str, trial_ids: Sequence[int]) -> Words:
    """A number with the trials that it rests on: it leads to the newest, and each of several stands behind it.

    >>> plain(from_trials("162 m³/h", (5, 91)))
    '162 m³/h [trials 5, 91]'
    """
    if not trial_ids:
        return (Span(number),)
    first = Span(number, f"/trials/{trial_ids[-1]}")
    if len(trial_ids) == 1:
        return (first,)
    spans = [first, Span(" [trials ")]
    for place, trial_id in enumerate(trial_ids):
        spans += [Span(", " if place else ""), Span(str(trial_id), f"/trials/{trial_id}")]
    return tuple(span for span in (*spans, Span("]")) if span.text)


def numbers_leading_to(sentence: str, address: str) -> Words:
    """A sentence of which only the numbers lead somewhere.

    >>> [span.text for span in numbers_leading_to("A costs 30 USD less than B.", "/compare") if span.address]
    ['30']
    """
    spans, end = [], 0
    for found in _NUMBER.finditer(sentence):
        spans += [Span(sentence[end : found.start()]), Span(found.group(), address)]
        end = found.end()
    return said(spans, sentence[end:])


def all_numbers_lead(words: Words, address: str) -> Words:
    """The words with an address for every number that has none of its own.

    >>> [span.address for span in all_numbers_lead(said("By the 1.55 rule ", Span("9 m²", "/trials/1")), "/room")]
    ['', '/room', '', '/trials/1']
    """
    return said(*((span,) if span.address else numbers_leading_to(span.text, address) for span in words))


def plain(words: Words) -> str:
    """The text alone."""
    return "".join(span.text for span in words)


def first_address(words: Words) -> str:
    """Where the first linked number leads; "" where nothing is linked."""
    return next((span.address for span in words if span.address), "")


@dataclass(frozen=True, slots=True)
class DraftPoint:
    """A strength or weakness as the draft shows it.

    given : what the rule says of it now; empty where a person added the point
    words : what is shown: the rule's words, or those of the latest edit
    threshold, position : the rule in numbers, and the unit's place among the tested ones
    version : 0 where nobody has edited it
    evidence_changed : edited while the rule said something else than it says now
    """

    key: str
    kind: str
    given: Words
    words: Words
    threshold: str
    position: str
    version: int = 0
    left_out: bool = False
    evidence_changed: bool = False

    @property
    def text(self) -> str:
        return plain(self.words)


@dataclass(frozen=True, slots=True)
class DraftSection:
    """One section: a heading, then paragraphs, terms with what is recorded of them, points and items in this order."""

    key: str
    heading: str
    paragraphs: tuple[Words, ...] = ()
    facts: tuple[tuple[str, Words], ...] = ()
    points: tuple[DraftPoint, ...] = ()
    items: tuple[Words, ...] = ()

    def with_numbers_leading_to(self, address: str) -> "DraftSection":
        """The section with that address behind every number that has none of its own."""
        return replace(
            self,
            paragraphs=tuple(all_numbers_lead(words, address) for words in self.paragraphs),
            facts=tuple((name, all_numbers_lead(words, address)) for name, words in self.facts),
            points=tuple(
                replace(
                    point,
                    given=all_numbers_lead(point.given, address),
                    words=all_numbers_lead(point.words, f"{address}/draft#point-{point.key}"),
                )
                if point.version
                else replace(point, words=all_numbers_lead(point.words, address))
                for point in self.points
            ),
            items=tuple(all_numbers_lead(words, address) for words in self.items),
        )


@dataclass(frozen=True, slots=True)
class Draft:
    """A whole draft; `foot` names source, method and the day of the newest datum."""

    unit_id: int
    title: str
    sections: tuple[DraftSection, ...]
    foot: str
