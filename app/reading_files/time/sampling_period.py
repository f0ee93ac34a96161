"""A first row that stands for a longer time than the others: counts in it are no counts of one interval."""

import re

import numpy as np

from app.reading_files.headers.search import Header
from app.reading_files.refusals import quoted
from app.reading_files.text.number_text import number_in
from app.reading_files.text.plain_text import plain_text

_PERIOD_HEADER = re.compile(r"(?:sampl\w*|averag\w*|integration|measur\w*)?[\s_]*(?:period|length|interval|time)\b")
FACTOR_NOTED = 3.0
FEWEST_ROWS = 5


def first_row_note(header: Header, cells: list[list[str]], decimal_mark: str) -> str | None:
    """A sentence on a first row whose period is several times that of the others, by a column that tells it.

    cells : for each position, the first cells that are not empty
    """
    for position, name in enumerate(header.names):
        if not _PERIOD_HEADER.match(plain_text(name)) or len(cells[position]) < FEWEST_ROWS:
            continue
        numbers = [number_in(cell, decimal_mark) for cell in cells[position]]
        periods = np.array([number for number in numbers if number is not None])
        if len(periods) < len(numbers) or (np.diff(periods) > 0).mean() > 0.9:
            continue  # text, or a running time
        usual = float(np.median(periods[1:]))
        if usual > 0 and periods[0] > FACTOR_NOTED * usual:
            return (
                f"The first row covers {periods[0] / usual:.3g} times the period of the others (column {quoted(name)}"
                "): its counts are not those of one interval."
            )
    return None
