"""Bytes into text: what kind of file they are, and in which encoding."""

from dataclasses import dataclass

from app.hidden_marks import without_hidden_marks
from app.reading_files.refusals import refusal

NEVER_IN_TEXT = bytes([*range(1, 9), *range(14, 32)])
LARGEST_FILE_BYTES = 256 * 1024 * 1024

_BLANK = b" \t\r\n\x00\xef\xbb\xbf\xff\xfe"
_EXPORT = "Export the log as CSV, tab-separated text or XLSX and upload that file."
_OTHER_KINDS = (
    (b"%PDF", "a PDF document"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"BZh", "a bzip2 archive"),
    (b"7z\xbc\xaf", "a 7z archive"),
    (b"\xfd7zXZ", "an xz archive"),
    (b"\x28\xb5\x2f\xfd", "a zstd archive"),
    (b"Rar!", "a rar archive"),
    (b"\xd0\xcf\x11\xe0", "an old binary spreadsheet (XLS)"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"RIFF", "a sound or picture file"),
    (b"fLaC", "a sound file"),
    (b"ID3", "a sound file"),
    (b"OggS", "a sound file"),
    (b"SQLite format 3\x00", "a database"),
    (b"PAR1", "a parquet file"),
    (b"\x89HDF", "an HDF5 file"),
    (b"\x7fELF", "a program"),
    (b"{\\rtf", "a word-processor document"),
)


def refuse_large_file(size_bytes: int, file_name: str) -> None:
    """Raises UnreadableLog for a file above the size limit; to be called before loading it."""
    if size_bytes > LARGEST_FILE_BYTES:
        raise refusal(
            file_name,
            f"The file has {size_bytes / 1024**2:.0f} MB; at most {LARGEST_FILE_BYTES / 1024**2:.0f} MB are read.",
            "Cut the log to the hours of the trial.",
        )


def is_worksheet_file(content: bytes, file_name: str) -> bool:
    """Whether the file is a workbook (XLSX); False for text. Everything else is rejected."""
    # the first bytes tell nearly always, without a copy of the file
    if not content[:2000].strip(_BLANK) and not content.strip(_BLANK):
        raise refusal(
            file_name, "The file is empty.", "A table with one row per time is required: export the log again."
        )
    refuse_large_file(len(content), file_name)
    if content.startswith(b"PK\x03\x04"):
        return True
    for mark, what in _OTHER_KINDS:
        if content.startswith(mark):
            raise refusal(file_name, f"The file is {what}, not a table.", _EXPORT, line=1)
    start = content[:2000].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if start.startswith((b"<!doctype", b"<html", b"<?xml", b"<svg")):
        raise refusal(
            file_name, "The file is a web page or XML, not a table.", _EXPORT, line=1, text=_first_text(content)
        )
    if start.startswith((b"{", b"[{")):
        raise refusal(file_name, "The file is JSON, not a table.", _EXPORT, line=1, text=_first_text(content))
    sample = content[:8000]
    odd = len(sample) - len(sample.translate(None, NEVER_IN_TEXT))
    if odd > 0.1 * len(sample):
        raise refusal(file_name, "The file contains bytes that are not text.", _EXPORT, line=1)
    return False


def _first_text(content: bytes) -> str:
    return content[:200].decode("utf-8", "replace").strip().split("\n")[0]


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

    last_line_ends : whether the last line has a line end; if not, it may be incomplete
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
        notes.append(f"{text.count(chr(0))} NUL bytes were removed.")
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
    """UTF-16 without a byte order mark has a NUL in every second byte of plain text."""
    start = content[:4000]
    if start.count(0) < len(start) * 0.3:
        return None
    even, odd = start[0::2].count(0), start[1::2].count(0)
    if odd > 4 * even:
        return "utf-16-le"
    return "utf-16-be" if even > 4 * odd else None


def _single_byte_encoding(content: bytes) -> str:
    """The encoding in which the bytes above 127 are characters used in units."""
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
    """Few accented letters among many plain ones: a western European language; others have hardly any plain ones."""
    lines = [line for line in content[:200_000].split(b"\n") if not line.isascii()][:400]
    high = sum(byte > 127 for line in lines for byte in line)
    plain = sum(65 <= byte <= 90 or 97 <= byte <= 122 for line in lines for byte in line)
    return high < 0.3 * (high + plain)
