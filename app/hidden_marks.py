"""Invisible bidirectional marks and control characters: with one of them a name can be displayed as another.

These are the embeddings, overrides and isolates of the Unicode bidirectional algorithm. Letters of right-to-left
scripts need none of them, and the plain direction marks U+200E, U+200F and U+061C are harmless and stay.

Control characters are invisible too, and make an SVG or a feed invalid XML.
"""

import re

_EACH = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
_NO_TEXT = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ufffe\uffff]")
_IN_TEXT = re.compile(f"[{_EACH}]")
# Includes U+FFFE and U+FFFF, which XML forbids. Each is three bytes of UTF-8, as is its replacement, and a control
# character is one, so the length does not change.
_IN_BYTES = re.compile(b"\xe2(?:\x80[\xaa-\xae]|\x81[\xa6-\xa9])|\xef\xbf[\xbe\xbf]")
_SHOWN = "\ufffd"
_CONTROL = bytes(code for code in range(32) if code not in b"\t\n\r")
_CONTROL_SHOWN = bytes.maketrans(_CONTROL, b"?" * len(_CONTROL))


def holds_hidden_marks(text: str) -> bool:
    # one by one: text without such letters, as in logs, is not scanned at all
    return any(mark in text for mark in _EACH)


def holds_control_characters(text: str) -> bool:
    r"""Whether the text contains a control character other than tab and line ends.

    >>> holds_control_characters("two\nlines"), holds_control_characters("\x1b[31m")
    (False, True)
    """
    return _NO_TEXT.search(text) is not None


def without_hidden_marks(text: str) -> str:
    r"""The text without bidirectional marks.

    >>> without_hidden_marks("PM\u202e2.5")
    'PM2.5'
    """
    return _IN_TEXT.sub("", text) if holds_hidden_marks(text) else text


def shown_marks(content: bytes) -> bytes:
    r"""UTF-8 text with � or ? in place of each mark and control character; the length does not change.

    >>> shown_marks("a\u202eb\x1bc".encode()).decode()
    'a�b?c'
    """
    return _IN_BYTES.sub(_SHOWN.encode(), content).translate(_CONTROL_SHOWN)
