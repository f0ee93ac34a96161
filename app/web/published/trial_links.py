"""Turns "trials 5, 91 and 92" on a published page into links to the trials."""

import re

from app.services.reviews.wording import Span, Words

_TRIALS = re.compile(r"trials? \d+(?:(?:, \d+)* and \d+)?")
_NUMBER = re.compile(r"\d+")


def with_trial_links(text: str, root: str = "") -> Words:
    """The text as spans; trial numbers link to their page, relative to `root`.

    >>> [span.text for span in with_trial_links("trials 5 and 91, 12 h a day") if span.address]
    ['5', '91']
    """
    spans, end = [], 0
    for named in _TRIALS.finditer(text):
        for found in _NUMBER.finditer(text, named.start(), named.end()):
            spans += [Span(text[end : found.start()]), Span(found[0], f"{root}trials/{found[0]}.html")]
            end = found.end()
    return tuple(span for span in (*spans, Span(text[end:])) if span.text)
