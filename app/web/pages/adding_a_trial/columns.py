"""Columns of a staged file as the page lists them: paged and searchable, with every choice kept."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.compute.wording.numbers import counted
from app.compute.wording.rounding import rounded_text
from app.reading_files.headers.channels import CHANNELS, channel
from app.reading_files.log_table import LogColumn
from app.web.forms.typed_form import TypedForm
from app.web.pages.adding_a_trial.fields import LEAVE_OUT, columns_in_form
from app.web.templating.page_context import Choice

COLUMNS_SHOWN = 60
_USE_WORDS = {"time": "the time", "box": "the box", "status": "a status", "left out": "not used"}


@dataclass(frozen=True, slots=True)
class ColumnRow:
    """One column of the file: its use, the reason, and the alternatives."""

    position: int
    header: str
    channel_text: str
    is_used: bool
    reason: str
    first_values: str
    use: str
    unit: str


@dataclass(frozen=True, slots=True)
class ColumnsShown:
    """The columns shown on the page.

    pages : the available pages; are_many : whether there are several pages, or a search filters them
    kept : position, field and value of choices for hidden columns, sent as hidden fields
    """

    rows: Sequence[ColumnRow]
    words: str
    are_many: bool
    pages: Sequence[Choice]
    kept: Sequence[tuple[int, str, str]]


def columns_shown(columns: Sequence[LogColumn], form: TypedForm) -> ColumnsShown:
    """The columns selected by `columns_like` and `columns_from`."""
    words = form.text("columns_like").casefold().split()
    found = [column for column in columns if all(word in column.header.casefold() for word in words)]
    asked = form.text("columns_from")
    first = int(asked) if asked.isdecimal() and len(asked) < 7 and int(asked) < len(found) else 0
    first -= first % COLUMNS_SHOWN
    shown = found[first : first + COLUMNS_SHOWN]
    listed = {column.position for column in shown}
    pages = [
        Choice(str(start), f"{start + 1} to {min(start + COLUMNS_SHOWN, len(found))} of {len(found)}", start == first)
        for start in range(0, len(found), COLUMNS_SHOWN)
    ]
    return ColumnsShown(
        rows=[_column_row(column, form) for column in shown],
        words=_words(len(columns), len(found), len(shown)),
        are_many=len(columns) > COLUMNS_SHOWN,
        pages=pages or [Choice("0", "no column matches", True)],
        kept=[
            (position, name, form.typed(f"{name}_{position}"))
            for position in columns_in_form(form)
            if position not in listed and (form.text(f"column_{position}") or form.text(f"unit_{position}"))
            for name in ("header", "column", "unit")
        ],
    )


def _words(total: int, found: int, shown: int) -> str:
    if total <= COLUMNS_SHOWN:
        return "File columns."
    having = "" if found == total else f", of which {rounded_text(found, 0)} match"
    return f"{rounded_text(shown, 0)} of the {counted(total, 'column')} of the file{having}."


def _column_row(column: LogColumn, form: TypedForm) -> ColumnRow:
    channel_text = _USE_WORDS.get(column.use, column.use)
    if column.channel is not None:
        channel_text = channel(column.channel).label
        if column.channel_unit:
            channel_text += f" [{column.channel_unit}]"
        if column.file_unit and column.file_unit != column.channel_unit:
            channel_text += f", from {column.file_unit}"
    return ColumnRow(
        position=column.position,
        header=column.header,
        channel_text=channel_text,
        is_used=column.use != "left out",
        reason=column.reason,
        first_values=", ".join(value for value in column.first_values[:3] if value),
        use=form.typed(f"column_{column.position}"),
        unit=form.typed(f"unit_{column.position}"),
    )


def uses_of_columns() -> list[Choice]:
    """Possible uses of a column; any other name creates a channel."""
    fixed = [
        Choice(LEAVE_OUT, "do not use"),
        Choice("time", "time"),
        Choice("elapsed", "elapsed time"),
        Choice("box", "box"),
    ]
    listed = [Choice(name, about.label) for name, about in CHANNELS.items()]
    second = [Choice(f"{name}_b", channel(f"{name}_b").label) for name in ("pm1", "pm2_5", "pm10")]
    return [*fixed, *listed, *second]
