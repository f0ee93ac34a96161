"""Bytes to lines of text: encoding, byte order mark, line ends, stray NUL bytes."""

from dataclasses import dataclass

from app.hidden_marks import without_hidden_marks

SIGNS_OF_UNITS = "µ°³²±"
SINGLE_BYTE_ENCODINGS = ("cp1252", "mac_roman", "cp437", "cp850")
BYTE_ORDER_MARKS = (
    (b"\xef\xbb\xbf", "utf-8"),
    (b"\xff\xfe\x00\x00", "utf-32-le"),
    (b"\x00\x00\xfe\xff", "utf-32-be"),
    (b"\xff\xfe", "utf-16-le"),
    (b"\xfe\xff", "utf-16-be"),
)


@dataclass(frozen=True, slots=True)
class DecodedText:
    """A text file as lines without their ends; line numbers start at 1 for lines[0].

    last_line_ends : whether the last line was closed by a line end; if not, it may be half written
    """

    lines: list[str]
    encoding: str
    last_line_ends: bool
    notes: tuple[str, ...]


def decode_text(content: bytes) -> DecodedText:
    r"""The lines of a text file.

    >>> decode_text(b"\xef\xbb\xbftime,pm\r\n1,2\r\n").lines
    ['time,pm', '1,2']
    """
    text, encoding, notes = _decoded(content)
    if "\x00" in text:
        notes.append(f"{text.count(chr(0))} NUL bytes were left out.")
        text = text.replace("\x00", "")
    if "\r" in text:
        text = text.replace("\r\n", "\n")
        if "\r" in text:
            notes.append("Lines end with a bare carriage return.")
            text = text.replace("\r", "\n")
    last_line_ends = text.endswith("\n")
    lines = without_hidden_marks(text).split("\n")
    if last_line_ends:
        lines.pop()
    return DecodedText(lines, encoding, last_line_ends, tuple(notes))


def _decoded(content: bytes) -> tuple[str, str, list[str]]:
    for mark, encoding in BYTE_ORDER_MARKS:
        if content.startswith(mark):
            body = content[len(mark) :]
            name = f"{encoding} with byte order mark"
            return _with_replacements(body, encoding, name)
    wide = _two_byte_encoding(content)
    if wide:
        return _with_replacements(content, wide, wide)
    try:
        return content.decode("utf-8"), "utf-8", []
    except UnicodeDecodeError:
        pass
    text = content.decode("utf-8", "replace")
    damaged = text.count("�")
    sound = sum(not line.isascii() for line in text.split("\n")) - sum("�" in line for line in text.split("\n"))
    if sound > damaged:
        return text, "utf-8", [f"{damaged} damaged characters were replaced."]
    encoding = _single_byte_encoding(content)
    return _with_replacements(content, encoding, encoding)


def _with_replacements(body: bytes, encoding: str, name: str) -> tuple[str, str, list[str]]:
    text = body.decode(encoding, "replace")
    damaged = text.count("�")
    return text, name, [f"{damaged} damaged characters were replaced."] if damaged else []


def _two_byte_encoding(content: bytes) -> str | None:
    """UTF-16 without a byte order mark shows as a NUL in every second byte of plain text."""
    start = content[:4000]
    if start.count(0) < len(start) * 0.3:
        return None
    even, odd = start[0::2].count(0), start[1::2].count(0)
    if odd > 4 * even:
        return "utf-16-le"
    return "utf-16-be" if even > 4 * odd else None


def _single_byte_encoding(content: bytes) -> str:
    """The encoding in which the bytes above 127 read as the signs that units are written with."""
    marked = bytes(byte for byte in content[:2_000_000] if byte > 127)[:2000]

    def signs(encoding: str) -> int:
        return sum(character in SIGNS_OF_UNITS for character in marked.decode(encoding, "replace"))

    best = max(SINGLE_BYTE_ENCODINGS, key=signs)  # the first of equals, so cp1252
    if _mostly_plain_letters(content):
        return best
    import charset_normalizer  # loaded when used

    with_marks = b"\n".join(line for line in content[:200_000].split(b"\n")[:400] if not line.isascii())
    guess = charset_normalizer.from_bytes(with_marks[:20_000]).best()
    return guess.encoding if guess is not None else "cp1252"


def _mostly_plain_letters(content: bytes) -> bool:
    """Few letters with accents among many without: a language of western Europe; others have hardly any plain ones."""
    lines = [line for line in content[:200_000].split(b"\n") if not line.isascii()][:400]
    high = sum(byte > 127 for line in lines for byte in line)
    plain = sum(65 <= byte <= 90 or 97 <= byte <= 122 for line in lines for byte in line)
    return high < 0.3 * (high + plain)
