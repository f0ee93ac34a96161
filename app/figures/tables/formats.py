"""A table for download as HTML fragment, Markdown or CSV. The same table gives the same text."""

import csv
import re
from html import escape
from io import StringIO

from app.figures.tables.chart_table import defused
from app.figures.tables.table import ExportCell, ExportTable

_PLAIN_NUMBER = re.compile(r"-?\d+(\.\d+)?")
_MARKDOWN_SIGNS = re.compile(r"([\\`*_{}\[\]<>|#~])")


def html_fragment(table: ExportTable) -> str:
    """A table element with caption and scope, without classes, to embed in an article."""
    heads = "".join(f'<th scope="col">{escape(column.words)}</th>' for column in table.columns)
    rows = "\n".join(f"<tr>{_html_row(_shown(table, row))}</tr>" for row in table.rows)
    return (
        f"<table>\n<caption>{escape(table.caption)}</caption>\n<thead><tr>{heads}</tr></thead>\n<tbody>\n{rows}\n"
        f'</tbody>\n<tfoot><tr><td colspan="{len(table.columns)}">{escape(table.foot)}</td></tr></tfoot>\n</table>\n'
    )


def _html_row(texts: list[str]) -> str:
    first, *rest = texts
    return f'<th scope="row">{escape(first)}</th>' + "".join(f"<td>{escape(text)}</td>" for text in rest)


def _shown(table: ExportTable, row: tuple[ExportCell, ...]) -> list[str]:
    """Texts of a row: a missing number is a dash, a missing text is empty."""
    pairs = zip(table.columns, row, strict=True)
    return [cell.text if column.is_number else cell.value for column, cell in pairs]


def markdown(table: ExportTable) -> str:
    """A table in the common Markdown extension, with special characters escaped."""
    heads = " | ".join(escaped(column.words) for column in table.columns)
    rule = " | ".join("---:" if column.is_number else ":---" for column in table.columns)
    rows = "\n".join(f"| {' | '.join(escaped(text) for text in _shown(table, row))} |" for row in table.rows)
    return f"**{escaped(table.caption)}**\n\n| {heads} |\n| {rule} |\n{rows}\n\n{escaped(table.foot)}\n"


def escaped(text: str) -> str:
    r"""Text on one line, with Markdown's special characters escaped.

    >>> escaped("a|b *c*\nd")
    'a\\|b \\*c\\* d'
    """
    return _MARKDOWN_SIGNS.sub(r"\\\1", " ".join(text.split(" ")).replace("\r", " ").replace("\n", " "))


def csv_text(table: ExportTable) -> str:
    """Comma-separated values: plain digits, interval and bound in their own columns, no spreadsheet formulas. The
    conditions are in the other formats only, so that every line here is a row.
    """
    out = StringIO()
    writer = csv.writer(out)
    head = []
    for column in table.columns:
        head.append(column.key)
        if column.with_interval:
            head += [f"{column.key}_low_95", f"{column.key}_high_95", f"{column.key}_bound"]
    writer.writerow(head)
    for row in table.rows:
        cells = []
        for column, cell in zip(table.columns, row, strict=True):
            cells.append(_plain(cell.value) if column.is_number else defused(cell.value))
            if column.with_interval:
                cells += [_plain(cell.low), _plain(cell.high), cell.bound]
        writer.writerow(cells)
    return out.getvalue()


def _plain(text: str) -> str:
    """Digits for programs: no thin spaces, an ASCII minus sign; other text is escaped."""
    digits = plain_digits(text)
    return digits if _PLAIN_NUMBER.fullmatch(digits) else defused(digits)


def plain_digits(text: str) -> str:
    """Converts a displayed number to plain ASCII digits.

    >>> plain_digits("−12 350.5")
    '-12350.5'
    """
    return text.replace("\u202f", "").replace("\u00a0", " ").replace("\u2212", "-")
