"""Marks that turn the order in which text is read, and that nobody sees: a name that holds one can show as another.

These are the embeddings, overrides and isolates of the Unicode bidirectional algorithm. Letters of right-to-left
scripts need none of them, and the plain direction marks U+200E, U+200F and U+061C do no harm and stay.
"""

import re

_EACH = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
_IN_TEXT = re.compile(f"[{_EACH}]")
# each is three bytes of UTF-8, as is the sign that takes its place, so that a length told before stays right
_IN_BYTES = re.compile(b"\xe2(?:\x80[\xaa-\xae]|\x81[\xa6-\xa9])")
_SHOWN = "\ufffd"


def holds_hidden_marks(text: str) -> bool:
    # one by one: a text without any letter so far out, as logs are, is then not gone through at all
    return any(mark in text for mark in _EACH)


def without_hidden_marks(text: str) -> str:
    """The text as it reads without its marks.

    >>> without_hidden_marks("PM\\u202e2.5")
    'PM2.5'
    """
    return _IN_TEXT.sub("", text) if holds_hidden_marks(text) else text


def shown_marks(content: bytes) -> bytes:
    """UTF-8 text with a sign that is seen, �, in place of each mark; the length stays.

    >>> shown_marks("a\\u202eb".encode()).decode()
    'a�b'
    """
    return _IN_BYTES.sub(_SHOWN.encode(), content)
