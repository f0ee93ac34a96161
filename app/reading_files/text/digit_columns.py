"""Cells of text as columns of digits: cells with digits and separators in the same places are parsed together."""

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.reading_files.text.line_fields import plain_text

LONGEST_TIME_TEXT = 48
MOST_SHAPES = 400
ZERO = np.uint8(ord("0"))
Cells = NDArray[np.object_] | NDArray[np.bytes_] | list[str]


@dataclass(slots=True)
class DigitGroup:
    """The cells of one shape.

    rows : their indices; raw : their bytes, shape (rows, width)
    spans : field to the positions of its digits; words : field to its text, if not a number
    """

    rows: NDArray[np.intp]
    raw: NDArray[np.uint8]
    spans: dict[str, tuple[int, int]]
    words: dict[str, str]

    def number(self, *names: str) -> NDArray[np.int64] | None:
        """The first of these fields that the shape has, for all cells."""
        for name in names:
            if name in self.spans:
                start, stop = self.spans[name]
                value = np.zeros(len(self.rows), dtype=np.int32)  # nine digits at most
                for place in range(start, stop):
                    value = value * 10 + (self.raw[:, place] - ZERO)
                return value.astype(np.int64)
        return None

    def number_or_zero(self, *names: str) -> NDArray[np.int64]:
        """The same, or zero for a field that the shape leaves out."""
        found = self.number(*names)
        return np.zeros(len(self.rows), dtype=np.int64) if found is None else found

    def runs(self, names: tuple[str, ...]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Rows in which these fields are all as in the row before: the first row of each run, and its length."""
        differs = np.zeros(len(self.rows), dtype=bool)
        differs[:1] = True
        for start, stop in (self.spans[name] for name in names if name in self.spans):
            for place in range(start, stop):
                differs[1:] |= self.raw[1:, place] != self.raw[:-1, place]
        starts = np.flatnonzero(differs)
        return starts, np.diff(starts, append=len(self.rows))

    def some(self, rows: NDArray[np.intp]) -> "DigitGroup":
        return DigitGroup(self.rows[rows], self.raw[rows], self.spans, self.words)

    def width(self, name: str) -> int:
        """Number of digits of a field."""
        start, stop = self.spans[name]
        return stop - start


def first_fields(lines: list[str], delimiter: str) -> NDArray[np.bytes_] | None:
    """The first field of each line, as fixed-width bytes; None unless all are equally long, in ASCII lines.

    >>> first_fields(["10:00,1", "10:01,2"], ",").tolist(), first_fields(["9:59,1", "10:00,2"], ",")
    ([b'10:00', b'10:01'], None)
    """
    width = lines[0].find(delimiter)
    if not 0 < width < LONGEST_TIME_TEXT:
        return None
    try:
        begins = np.array(lines, dtype=f"S{width + 1}")
    except UnicodeEncodeError:
        return None
    is_end = begins.view(np.uint8).reshape(len(begins), width + 1) == ord(delimiter)
    if not is_end[:, width].all() or np.count_nonzero(is_end) > len(begins):
        return None
    return begins.astype(f"S{width}")


def as_bytes(cells: Cells) -> NDArray[np.bytes_]:
    """The cells as fixed-width bytes, without accents, truncated after the longest time format."""
    if isinstance(cells, np.ndarray) and cells.dtype.kind == "S":
        return cells.astype(np.bytes_, copy=False)
    if not len(cells):
        return np.array([], dtype="S1")
    try:
        narrow = min(len(cells[0]), LONGEST_TIME_TEXT) + 1
        text = np.array(cells, dtype=f"S{narrow}")
        if (text.view(np.uint8).reshape(len(text), narrow)[:, -1] == 0).all():
            return text
        return np.array(cells, dtype=f"S{LONGEST_TIME_TEXT}")
    except UnicodeEncodeError:
        plain = [plain_text(cell).encode("ascii", "replace") if not cell.isascii() else cell.encode() for cell in cells]
        return np.array(plain, dtype=f"S{LONGEST_TIME_TEXT}")


def rows_by_shape(text: NDArray[np.bytes_]) -> list[tuple[NDArray[np.intp], NDArray[np.uint8], str]]:
    """Groups rows by shape: their indices, their bytes, and one cell of the shape in lower case."""
    if not len(text):
        return []
    width = text.dtype.itemsize
    raw = np.ascontiguousarray(text).view(np.uint8).reshape(len(text), width)
    used = width
    while used and not raw[:, used - 1].any():
        used -= 1
    if used == 0:
        return []
    raw = raw[:, :used]
    digit = raw - ZERO  # unsigned bytes wrap round, so that characters below the digits become large
    shape = raw - digit * (digit < 10)  # each digit as a zero
    if shape.tobytes() == shape[0].tobytes() * len(shape):  # a comparison row by row takes ten times as long
        return [_shape_rows(np.arange(len(text)), raw)]
    whole = np.ascontiguousarray(shape).view(f"V{used}").reshape(-1)
    _, inverse = np.unique(whole, return_inverse=True)
    inverse = inverse.reshape(-1)
    order = np.argsort(inverse, kind="stable")
    number = np.bincount(inverse)
    stops = np.cumsum(number)
    common = np.argsort(-number, kind="stable")[:MOST_SHAPES]
    return [_shape_rows(order[stops[index] - number[index] : stops[index]], raw) for index in common]


def _shape_rows(rows: NDArray[np.intp], raw: NDArray[np.uint8]) -> tuple[NDArray[np.intp], NDArray[np.uint8], str]:
    mine = raw if len(rows) == len(raw) else raw[rows]
    sample = bytes(mine[0]).rstrip(b"\x00").decode("ascii", "replace").lower()
    return rows, mine, sample


def number_spans(found: re.Match[str]) -> dict[str, tuple[int, int]]:
    """Positions of the named groups that are numbers."""
    return {
        name: found.span(name) for name, value in found.groupdict().items() if value is not None and value.isdigit()
    }
