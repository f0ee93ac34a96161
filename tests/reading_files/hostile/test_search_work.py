"""The search for the table does work in proportion to the size of the file, whatever its lines hold."""

import pytest

from app.errors import UnreadableLog
from app.reading_files.headers import search
from app.reading_files.read_log import read_log

LINES = 200
CELLS = {
    "digits": "1",
    "numbers": "1.5",
    "letters": "a1",
    "headers": "time",
    "units": "ug/m3",
    "dates": "2026-01-05",
    "times": "10:00:00",
}


@pytest.mark.parametrize("kind", CELLS)
def test_wide_lines_of_anything_are_searched_in_proportion(kind: str, monkeypatch: pytest.MonkeyPatch):
    """Each line has four thousand characters, like those that once kept the reader busy for minutes."""
    split = search.split_line
    counted = [0]

    def counting(line: str, delimiter: str) -> list[str]:
        cells = split(line, delimiter)
        counted[0] += len(cells)
        return cells

    monkeypatch.setattr(search, "split_line", counting)
    line = ",".join([CELLS[kind]] * (4000 // (len(CELLS[kind]) + 1)))
    content = "\n".join([line] * LINES).encode()
    with pytest.raises(UnreadableLog):
        read_log(content, "wide.csv")
    assert counted[0] <= 4 * max(60_000, len(content) // 12)


def test_a_cell_of_many_digits_is_no_number_and_no_time():
    """A number that could be split in many ways took time that grew with the square of its length."""
    assert search.looks_like_reading("1" * 50)
    assert not search.looks_like_reading("1" * 4000 + " a")
    assert not search.looks_like_reading("1" * 90 + " a")


def test_an_ordinary_wide_table_is_found_below_a_long_preamble():
    preamble = "".join(f"note {number},value\n" for number in range(300))
    header = ",".join(["time", *(f"channel {number} (ug/m3)" for number in range(300)), "PM2.5 (ug/m3)"])
    rows = "".join(f"2026-01-05 10:00:{second:02d}," + "1.5," * 300 + "7\n" for second in range(40))
    log = read_log(f"{preamble}{header}\n{rows}".encode(), "log.csv")
    assert len(log.levels["pm2_5"]) == 40
