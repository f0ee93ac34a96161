"""A table for download: cells with intervals and bounds, rounded already, for all formats."""

from dataclasses import dataclass
from datetime import date

from app.compute.wording.numbers import DASH, measured_text
from app.compute.wording.rounding import decimals_from_size, rounded_text

AT_MOST, AT_LEAST, MORE_THAN, ESTIMATE = "at most", "at least", "more than", "estimated"
ESTIMATED_AT_MOST = "estimated at most"


@dataclass(frozen=True, slots=True)
class ExportCell:
    """One cell. `value` is rounded to its uncertainty; if empty, `why` gives the reason as a sentence.

    low, high : ends of the 95 % interval, empty where it has none
    bound : "at most", "at least", "more than", "estimated" or "estimated at most" for values that are not measured
        directly
    """

    value: str = ""
    low: str = ""
    high: str = ""
    bound: str = ""
    why: str = ""

    @property
    def text(self) -> str:
        """As shown to readers."""
        if not self.value:
            return DASH
        words = f"{self.bound} {self.value}" if self.bound else self.value
        return f"{words} ({self.low} to {self.high})" if self.low and self.high else words


@dataclass(frozen=True, slots=True)
class ExportColumn:
    """One column. `key` is its name in CSV, ending in the unit.

    with_interval : CSV has separate columns for the ends of the interval and the bound
    """

    key: str
    head: str
    unit_symbol: str = ""
    is_number: bool = True
    with_interval: bool = False

    @property
    def words(self) -> str:
        return f"{self.head} [{self.unit_symbol}]" if self.unit_symbol else self.head


@dataclass(frozen=True, slots=True)
class ExportTable:
    """A whole table; the first cell of each row names the row."""

    name: str
    caption: str
    columns: tuple[ExportColumn, ...]
    rows: tuple[tuple[ExportCell, ...], ...]
    conditions: str
    source_line: str
    newest: date | None = None

    def __post_init__(self) -> None:
        for row in self.rows:
            if len(row) != len(self.columns):
                raise ValueError(
                    f"Table {self.name!r} has {len(self.columns)} columns and a row of {len(row)} cells; both need the "
                    "same number."
                )

    @property
    def foot(self) -> str:
        """Conditions, source, and date of the latest data (never today's)."""
        days = "" if self.newest is None else f"Latest data: {self.newest}."
        return " ".join(part for part in (self.conditions, self.source_line, days) if part)


def measured_cell(
    value: float | None,
    uncertainty: float | None = None,
    low: float | None = None,
    high: float | None = None,
    *,
    bound: str = "",
    why: str = "",
) -> ExportCell:
    """A value rounded to its uncertainty, with its interval if both ends are known.

    >>> measured_cell(162.12, 4.31, 153.4, 170.8).text
    '162 (153 to 171)'
    >>> measured_cell(None, why="Not measured.").text
    '–'
    """
    if value is None:
        return ExportCell(why=why)
    words = measured_text(value, uncertainty, low, high)
    known = low is not None and high is not None
    return ExportCell(words.value, words.low if known else "", words.high if known else "", bound, why)


def plain_cell(value: float | None, decimals: int | None = None, *, bound: str = "", why: str = "") -> ExportCell:
    """A number without uncertainty: with these decimals, or three significant digits."""
    if value is None:
        return ExportCell(why=why)
    return ExportCell(
        rounded_text(value, decimals_from_size(value) if decimals is None else decimals), "", "", bound, why
    )
