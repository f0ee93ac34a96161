"""Decimal commas in a comma-separated file without quotation marks: numbers are torn apart and nothing mends them."""

import re

from app.reading_files.refusals import refusal

_WHOLE = re.compile(r"\d+")
SMALLEST_SHARE = 0.5


def refuse_split_decimals(rows: list[list[str]], headers: int, file_name: str, line: int, text: str) -> None:
    """Raises UnreadableLog where most rows have more fields than headers, and the numbers in them are all whole.

    rows : first rows as fields; line, text : the first of them in the file
    """
    longer = [row for row in rows if len([field for field in row[headers:] if field])]
    if not rows or len(longer) < SMALLEST_SHARE * len(rows):
        return
    extra_are_whole = all(_WHOLE.fullmatch(field) for row in longer for field in row[headers:] if field)
    any_point = any(re.fullmatch(r"[-+]?\d*\.\d+", field) for row in rows for field in row)
    if extra_are_whole and not any_point:
        raise refusal(
            file_name,
            f"The row has {len(longer[0])} fields below {headers} headers; decimal commas between commas look so.",
            "Export the log with semicolons or tabs between the fields, or with decimal points.",
            line=line,
            text=text,
        )
