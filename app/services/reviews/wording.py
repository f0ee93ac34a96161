"""Text of a draft in which every number carries the link to its source."""

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

# a date or a free-standing number: the digits in "PM2.5", "A-300" and the setting “4” are part of names
_NUMBER = re.compile(r"(?<![\w.-])(?!(?<=“)\d+”)(?:\d{4}-\d\d-\d\d|\u2212?\d[\d.,\u202f]*(?<![.,]))(?![\w-])")


@dataclass(frozen=True, slots=True)
class Span:
    """A piece of text; `address` is the page it links to, "" for none."""

    text: str
    address: str = ""


Spans = tuple[Span, ...]


def join_spans(*parts: str | Span | Iterable[Span]) -> Spans:
    """Joins texts and spans into one sequence of spans.

    >>> plain(join_spans("It draws ", Span("40 W", "/units/1/power"), "."))
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


def cite_trials(number: str, trial_ids: Sequence[int]) -> Spans:
    """A number with its source trials: it links to the newest, and several are listed behind it.

    >>> plain(cite_trials("162 m³/h", (5, 91)))
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


def newest_trial(number: str, trial_ids: Sequence[int]) -> Spans:
    """A number linked to the newest of its trials, where all of them were listed before."""
    return (Span(number, f"/trials/{trial_ids[-1]}" if trial_ids else ""),)


def join_phrases(phrases: Sequence[Spans]) -> Spans:
    """Phrases with commas, and "and" before the last one.

    >>> plain(join_phrases([join_spans("3 W"), join_spans("4 W"), join_spans("5 W")]))
    '3 W, 4 W and 5 W'
    """
    last = len(phrases) - 1
    between = ["" if place == 0 else " and " if place == last else ", " for place in range(len(phrases))]
    return join_spans(*(part for word, phrase in zip(between, phrases, strict=True) for part in (word, phrase)))


def linked_trials(trial_ids: Sequence[int]) -> Spans:
    """Trial numbers, each linked to its page."""
    spans: list[Span] = []
    for trial_id in trial_ids:
        spans += [Span(", ")] if spans else []
        spans.append(Span(str(trial_id), f"/trials/{trial_id}"))
    return tuple(spans)


def link_numbers(sentence: str, address: str, names: Sequence[str] = ()) -> Spans:
    """A sentence in which only the numbers are links; digits inside the names of units or settings are not numbers.

    >>> [span.text for span in link_numbers("Dust 60 costs 30 USD less.", "/compare", ["Dust 60"]) if span.address]
    ['30']
    """
    numbers = list(_NUMBER.finditer(sentence))
    if not numbers:
        return join_spans(sentence)
    spans, end = [], 0
    named = [(at, at + len(name)) for name in names for at in _starts(sentence, name)]
    for found in numbers:
        if any(start <= found.start() < stop for start, stop in named):
            continue
        spans += [Span(sentence[end : found.start()]), Span(found.group(), address)]
        end = found.end()
    return join_spans(spans, sentence[end:])


def _starts(sentence: str, name: str) -> Iterator[int]:
    """Where a name begins. Without regular expressions: a bench has more names than their cache holds."""
    start = sentence.find(name) if name else -1
    while start >= 0:
        yield start
        start = sentence.find(name, start + len(name))


def link_all_numbers(words: Spans, address: str, names: Sequence[str] = ()) -> Spans:
    """Adds a link to every number that has none of its own.

    >>> [span.address for span in link_all_numbers(join_spans("By the 1.55 rule ", Span("9 m²", "/trials/1")), "/room")]
    ['', '/room', '', '/trials/1']
    """
    return join_spans(*((span,) if span.address else link_numbers(span.text, address, names) for span in words))


def plain(words: Spans) -> str:
    """The text alone."""
    return "".join(span.text for span in words)


def first_address(words: Spans) -> str:
    """Link of the first linked number; "" if nothing is linked."""
    return next((span.address for span in words if span.address), "")


@dataclass(frozen=True, slots=True)
class DraftPoint:
    """A strength or weakness as the draft shows it.

    given : the rule's current text; empty for a point added by a person
    words : what is shown: the rule's text, or that of the latest edit
    threshold, position : the rule in numbers, and the unit's rank
    version : 0 where nobody has edited it
    evidence_changed : the rule's text has changed since the edit
    """

    key: str
    kind: str
    given: Spans
    words: Spans
    threshold: str
    position: str
    version: int = 0
    left_out: bool = False
    evidence_changed: bool = False

    @property
    def text(self) -> str:
        return plain(self.words)


@dataclass(frozen=True, slots=True)
class DraftPicture:
    """A chart or a photo by its address."""

    address: str
    alt: str
    caption: str = ""


@dataclass(frozen=True, slots=True)
class DraftSection:
    """One section: a heading, then paragraphs, a table, a picture, terms with their values, points and items.

    table : rows of cells, the heads first; empty for none; table_foot : its conditions and source
    pictures : charts, and the photos that were chosen for readers
    """

    key: str
    heading: str
    paragraphs: tuple[Spans, ...] = ()
    facts: tuple[tuple[str, Spans], ...] = ()
    points: tuple[DraftPoint, ...] = ()
    items: tuple[Spans, ...] = ()
    table: tuple[tuple[Spans, ...], ...] = ()
    pictures: tuple[DraftPicture, ...] = ()
    table_caption: str = "Each setting with its interval"
    table_foot: str = ""

    def with_words(self, change: Callable[[Spans], Spans]) -> "DraftSection":
        """The section with all its words changed alike."""
        return replace(
            self,
            paragraphs=tuple(change(words) for words in self.paragraphs),
            facts=tuple((name, change(words)) for name, words in self.facts),
            points=tuple(replace(one, given=change(one.given), words=change(one.words)) for one in self.points),
            items=tuple(change(words) for words in self.items),
            table=tuple(tuple(change(cell) for cell in row) for row in self.table),
        )

    def with_linked_numbers(self, address: str, names: Sequence[str] = ()) -> "DraftSection":
        """The section with that link added to every number that has none and is neither in a name nor in the head of a
        table.
        """
        edited = tuple(
            replace(point, words=link_all_numbers(point.words, f"{address}/draft#point-{point.key}", names))
            if point.version
            else point
            for point in self.points
        )
        linked = replace(self, points=edited).with_words(lambda words: link_all_numbers(words, address, names))
        return replace(linked, table=(*self.table[:1], *linked.table[1:]))


@dataclass(frozen=True, slots=True)
class Draft:
    """A whole draft; `foot` names source, method and date of the latest data.

    others : units that it compares this one with
    """

    unit_id: int
    title: str
    sections: tuple[DraftSection, ...]
    foot: str
    others: tuple[int, ...] = ()

    def with_addresses(self, of: Callable[[str], str]) -> "Draft":
        """The draft with each link replaced; `of` gives "" for a link to remove."""

        def led(words: Spans) -> Spans:
            return tuple(Span(span.text, of(span.address) if span.address else "") for span in words)

        return replace(self, sections=tuple(section.with_words(led) for section in self.sections))
