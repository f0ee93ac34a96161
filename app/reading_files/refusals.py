"""Errors of the reader, with file, line, text found, and what is needed."""

from app.errors import UnreadableLog
from app.reading_files.log_table import LogColumn

LONGEST_QUOTE = 60


class SeveralBoxes(UnreadableLog):
    """The file contains several boxes, and none was chosen; `boxes` lists them."""

    def __init__(self, message: str, *, file_name: str, boxes: tuple[str, ...], line: int | None = None) -> None:
        super().__init__(message, file_name=file_name, line=line)
        self.boxes = boxes


class ColumnsNotRecognised(UnreadableLog):
    """The table was found, but not its times or no channel; `columns` has the use of each column."""

    def __init__(
        self, message: str, *, file_name: str, columns: tuple[LogColumn, ...], line: int | None, text: str | None = None
    ) -> None:
        super().__init__(message, file_name=file_name, line=line, text=text)
        self.columns = columns


def quoted(text: str) -> str:
    """Text for a message: in quotation marks, on one line, shortened.

    >>> quoted("a" * 100)
    '“aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa…”'
    """
    plain = "".join(character if character.isprintable() else "·" for character in text.strip())
    return f"“{plain[:LONGEST_QUOTE]}…”" if len(plain) > LONGEST_QUOTE else f"“{plain}”"


def where(file_name: str, line: int | None) -> str:
    """Location at the start of a message."""
    return f"{file_name or 'the file'}, line {line}" if line else file_name or "the file"


def refusal(
    file_name: str, found: str, needed: str, *, line: int | None = None, text: str | None = None
) -> UnreadableLog:
    """The error for a file that cannot be read; `found` and `needed` are whole sentences.

    >>> print(refusal("log.csv", "The file is empty.", "Export it again.").message)
    log.csv: The file is empty. Export it again.
    """
    there = f" The text there is {quoted(text)}." if text is not None else ""
    return UnreadableLog(
        f"{where(file_name, line)}: {found}{there} {needed}", file_name=file_name, line=line, text=text
    )
