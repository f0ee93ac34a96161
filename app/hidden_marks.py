"""Marks that turn the order in which text is read, and that nobody sees: a name that holds one can show as another.

These are the embeddings, overrides and isolates of the Unicode bidirectional algorithm. Letters of right-to-left
scripts need none of them, and the plain direction marks U+200E, U+200F and U+061C do no harm and stay.

Control characters are hidden too, and a drawing or a feed that holds one is no XML, so that no reader opens it.
"""

import re

_EACH = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
_NO_TEXT = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ufffe\uffff]")
_IN_TEXT = re.compile(f"[{_EACH}]")
# U+FFFE and U+FFFF, which no XML holds, are among them; each is three bytes of UTF-8, as is the sign that takes its
# place, and a control character is one, so that a length told before stays right
_IN_BYTES = re.compile(b"\xe2(?:\x80[\xaa-\xae]|\x81[\xa6-\xa9])|\xef\xbf[\xbe\xbf]")
_SHOWN = "\ufffd"
_CONTROL = bytes(code for code in range(32) if code not in b"\t\n\r")
_CONTROL_SHOWN = bytes.maketrans(_CONTROL, b"?" * len(_CONTROL))


def holds_hidden_marks(text: str) -> bool:
    # one by one: a text without any letter so far out, as logs are, is then not gone through at all
    return any(mark in text for mark in _EACH)


def holds_control_characters(text: str) -> bool:
    """Whether the text holds a sign that no text needs: a control character other than tab and line ends.

    >>> holds_control_characters("two\\nlines"), holds_control_characters("\\x1b[31m")
    (False, True)
    """
    return _NO_TEXT.search(text) is not None


def without_hidden_marks(text: str) -> str:
    """The text as it reads without its marks.

    >>> without_hidden_marks("PM\\u202e2.5")
    'PM2.5'
    """
    return _IN_TEXT.sub("", text) if holds_hidden_marks(text) else text


def shown_marks(content: bytes) -> bytes:
    """UTF-8 text with a sign that is seen, � or ?, in place of each mark and control character; the length stays.

    >>> shown_marks("a\\u202eb\\x1bc".encode()).decode()
    'a�b?c'
    """
    return _IN_BYTES.sub(_SHOWN.encode(), content).translate(_CONTROL_SHOWN)
