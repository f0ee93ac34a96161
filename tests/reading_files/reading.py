"""What the tests of reading logs share: files beside the tests, and short ways to read a log."""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from app.errors import UnreadableLog
from app.reading_files.log_table import LogTable, ReadingChoices
from app.reading_files.read_log import read_log

EXTRACTS = Path(__file__).parents[1] / "data" / "logs"
ORIGINALS = Path(__file__).parents[3] / "shared" / "data"


def read_text(text: str, file_name: str = "log.csv", encoding: str = "utf-8", **choices: object) -> LogTable:
    """A log from a text, with choices by name."""
    return read_log(text.encode(encoding), file_name, ReadingChoices(**choices))


def read_extract(name: str, **choices: object) -> LogTable:
    """A log from the extracts beside the tests."""
    return read_log((EXTRACTS / name).read_bytes(), Path(name).name, ReadingChoices(**choices))


def read_original(name: str, **choices: object) -> LogTable:
    """A log from the folder of originals, which is not part of the project."""
    path = ORIGINALS / name
    if not path.exists():
        pytest.skip("the folder with the original logs is not there; the extracts are tested without it")
    return read_log(path.read_bytes(), path.name, ReadingChoices(**choices))


def refused(text: str | bytes, file_name: str = "log.csv", **choices: object) -> UnreadableLog:
    """The refusal of a log."""
    content = text.encode() if isinstance(text, str) else text
    with pytest.raises(UnreadableLog) as caught:
        read_log(content, file_name, ReadingChoices(**choices))
    return caught.value


def utc(year: int, month: int, day: int, hour: int = 0, minute: int = 0, second: int = 0, us: int = 0) -> datetime:
    """A time in UTC."""
    return datetime(year, month, day, hour, minute, second, us, tzinfo=UTC)


def count(levels: np.ndarray) -> int:
    """How many values are there."""
    return int((~np.isnan(levels)).sum())


def rows(*lines: str) -> str:
    """Lines to a text that ends with a line end."""
    return "\n".join(lines) + "\n"
