"""The refusal of a table whose times or channels are not recognised, with what is needed to read it."""

from app.reading_files.headers.search import Header
from app.reading_files.log_table import LogColumn
from app.reading_files.refusals import ColumnsNotRecognised, quoted, where

NAMES_LISTED = 12


def refuse_unrecognised(
    file_name: str,
    header: Header,
    columns: tuple[LogColumn, ...],
    *,
    has_time: bool,
    has_channel: bool,
    missing: list[str],
) -> None:
    """Raises ColumnsNotRecognised unless the table has times, a channel, and every column that was asked for.

    missing : headers that a person named and the file does not have
    """
    listed = ", ".join(quoted(name) for name in header.names[:NAMES_LISTED])
    if len(header.names) > NAMES_LISTED:
        listed += f" and {len(header.names) - NAMES_LISTED} more"
    if missing:
        problem = f"There is no column {quoted(missing[0])}. The columns are {listed}. Name one of these."
    elif not has_time:
        problem = (
            f"No column holds times. The columns are {listed}. Needed is a column with a date and time, or with the "
            "seconds since the start; if there is one, say which."
        )
    elif not has_channel:
        left = [column.header for column in columns if column.use == "left out" and column.first_values]
        example = f"{left[0] if left else 'COLUMN'}=pm2_5"
        problem = (
            f"No column is known as a channel. The columns are {listed}. Say what a column holds, for example "
            f"{quoted(example)}."
        )
    else:
        return
    line = header.line + 1 if header.line >= 0 else header.first_row + 1
    raise ColumnsNotRecognised(
        f"{where(file_name, line)}: {problem}", file_name=file_name, columns=columns, line=line, text=listed
    )
