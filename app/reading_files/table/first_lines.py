"""The first lines of a file as text, for a person who chooses the header line."""

from app.reading_files.text.decoding import decode_text, is_worksheet_file
from app.reading_files.text.worksheets import read_sheets

HEAD_BYTES = 65_536  # that are decoded of a text file
_LONGEST_SHOWN = 300


def first_lines(content: bytes, file_name: str, box: str | None, most: int) -> tuple[str, ...]:
    r"""Lines of a text file, of which HEAD_BYTES are enough, or of the sheet of a workbook named by the box, shortened.

    Raises UnreadableLog for a file that holds no text.

    >>> first_lines(b"Logger 7\ntime,pm\n1,2\n", "log.csv", None, 2)
    ('Logger 7', 'time,pm')
    """
    if is_worksheet_file(content, file_name):
        sheets = read_sheets(content, file_name)
        lines = next((sheet.lines for sheet in sheets if sheet.name == box), sheets[0].lines)
    else:
        head = content[:HEAD_BYTES]
        if len(head) == HEAD_BYTES:  # without the line that is cut
            head = head[: max(head.rfind(b"\n"), head.rfind(b"\r")) + 1] or head
        lines = decode_text(head).lines
    return tuple(line[:_LONGEST_SHOWN] for line in lines[:most])
