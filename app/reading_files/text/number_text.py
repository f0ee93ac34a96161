"""Parses the cells of a channel: error marks, thousands separators, units in the cell, infinite values."""

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from app.reading_files.refusals import quoted
from app.reading_files.text.unit_symbols import conversion, is_unit

if TYPE_CHECKING:
    import pandas as pd

NOT_MEASURED = frozenset(("", "-", "--", "---", "----", "nan", "na", "n/a", "#n/a", "null", "none", "nil", "*", "."))
OVER_RANGE = re.compile(
    r"ol|o\.l\.?|ovl|ovf|ovr|over.*|.*overload.*|.*overrange.*|.*saturat.*|sat|hi|high|\+?inf.*|>.*|max"
)
UNDER_RANGE = re.compile(r"lo|low|under.*|<.*|-inf.*|bdl|lod|below.*")
LARGEST_LEVEL = 1e15  # above any level, count or time; sums and squares of larger ones would overflow
ABSENT_VALUES = (-999.0, -9999.0, -99999.0, -999.9, -9999.9)  # numbers that loggers write for "no value"

_PLAIN = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_NUMBER_AND_UNIT = re.compile(r"([-+]?(?:\d[\d.,' ]*|[.,]\d+)(?:[eE][-+]?\d+)?)\s*([^\d\s].*)")


@dataclass(frozen=True, slots=True)
class Numbers:
    """Values of one column in the channel's unit, and the unreadable cells.

    unreadable : row index to text, for cells that are not numbers
    """

    values: NDArray[np.float64]
    unreadable: dict[int, str]


def numbers_of(column: "pd.Series", decimal_mark: str, channel_unit: str, factor: float, offset: float) -> Numbers:
    """The column as levels: text * factor + offset, not-a-number for a cell without a number."""
    if column.dtype.kind in "iuf":
        values = column.to_numpy(dtype=np.float64, copy=True)
        values, unreadable = _without_infinite(values)
        return Numbers(_scaled(values, factor, offset), unreadable)
    import pandas as pd  # loaded when used

    codes, texts = pd.factorize(column)
    levels = np.full(len(texts) + 1, np.nan)
    odd: dict[int, str] = {}
    for index, text in enumerate(texts):
        level = _cell_level(str(text), decimal_mark, channel_unit, factor, offset)
        if level is None:
            if str(text).strip():
                odd[index] = str(text).strip()
        else:
            levels[index] = level
    unreadable = {}
    for index, text in odd.items():
        unreadable.update(dict.fromkeys((int(row) for row in np.flatnonzero(codes == index)[:1000]), text))
    return Numbers(levels[codes], dict(sorted(unreadable.items())))


def _scaled(values: NDArray[np.float64], factor: float, offset: float) -> NDArray[np.float64]:
    if factor == 1.0 and offset == 0.0:
        return values
    return values * factor + offset


def _without_infinite(values: NDArray[np.float64]) -> tuple[NDArray[np.float64], dict[int, str]]:
    unreadable: dict[int, str] = {}
    # nearly all columns hold none, as their extremes show; not-a-number is ignored
    lowest, highest = np.fmin.reduce(values, initial=np.inf), np.fmax.reduce(values, initial=-np.inf)
    if lowest > max(ABSENT_VALUES) and highest <= LARGEST_LEVEL:
        return values, unreadable
    odd = (values > LARGEST_LEVEL) | (values < -LARGEST_LEVEL) | np.isin(values, ABSENT_VALUES)
    if odd.any():
        unreadable = {int(row): f"{values[row]:g}" for row in np.flatnonzero(odd)[:1000]}
        values[odd] = np.nan
    return values, unreadable


def _cell_level(text: str, decimal_mark: str, channel_unit: str, factor: float, offset: float) -> float | None:
    value = number_in(text, decimal_mark)
    if value is not None:
        return None if value in ABSENT_VALUES or abs(value) > LARGEST_LEVEL else value * factor + offset
    with_unit = number_with_unit(text, decimal_mark)
    if with_unit is None or abs(with_unit[0]) > LARGEST_LEVEL:
        return None
    value, unit = with_unit
    turned = conversion(unit, channel_unit)
    return value * turned.factor + turned.offset if turned else value * factor + offset


def number_with_unit(text: str, decimal_mark: str = ".") -> tuple[float, str] | None:
    """Number and unit of a cell with both, or None.

    >>> number_with_unit("35.37 dB"), number_with_unit("150 µg/m³"), number_with_unit("12 rows")
    ((35.37, 'dB'), (150.0, 'µg/m³'), None)
    """
    found = _NUMBER_AND_UNIT.fullmatch(text.strip())
    if found is None or not is_unit(found[2]):
        return None
    value = number_in(found[1], decimal_mark)
    return None if value is None else (value, found[2])


@lru_cache(maxsize=4096)  # a header is recognised by looking at the same cells several times
def number_in(text: str, decimal_mark: str = ".") -> float | None:
    """Parses a finite number, or returns None.

    >>> number_in("1.2844e+4"), number_in("1.234,5", ","), number_in("1,234.5"), number_in("ERR")
    (12844.0, 1234.5, 1234.5, None)
    """
    if text[:1].isalpha() or ":" in text:  # words and times of day, which may fill a whole column
        return None
    if text.isascii() and (text.isdigit() or (decimal_mark == "." and _PLAIN.fullmatch(text))):
        return _finite(text)
    plain = text.strip().strip("\"'").strip().replace("\u2212", "-")
    if _PLAIN.fullmatch(plain) and (decimal_mark == "." or "." not in plain):
        return _finite(plain)
    plain = re.sub(r"(?<=\d)['’\s](?=\d{3}(?!\d))", "", plain)
    thousands, mark = (".", ",") if decimal_mark == "," else (",", ".")
    if re.fullmatch(rf"[-+]?[1-9]\d{{0,2}}(?:\{thousands}\d{{3}})+(?:\{mark}\d+)?", plain):
        plain = plain.replace(thousands, "")
    plain = plain.replace(",", ".")
    return _finite(plain) if _PLAIN.fullmatch(plain) else None


def _finite(plain: str) -> float | None:
    value = float(plain)
    return value if math.isfinite(value) else None


def why_no_number(text: str) -> str:
    """Why the cell is not a reading.

    >>> why_no_number("OL"), why_no_number("---")
    ('“OL” marks a level above the range', '“---” marks a value that was not measured')
    """
    plain = text.strip().lower()
    if plain in NOT_MEASURED:
        return f"{quoted(text)} marks a value that was not measured"
    if OVER_RANGE.fullmatch(plain):
        return f"{quoted(text)} marks a level above the range"
    if UNDER_RANGE.fullmatch(plain):
        return f"{quoted(text)} marks a level below the range"
    number = number_in(plain)
    if number in ABSENT_VALUES:
        return f"{quoted(text)} means no value"
    if number is not None and abs(number) > LARGEST_LEVEL:
        return f"{quoted(text)} is too large for a level"
    return f"{quoted(text)} is not a number"
