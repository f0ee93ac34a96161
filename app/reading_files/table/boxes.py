"""Which box or detector of a file that holds several: by a column that names it, or by the sheets of a workbook."""

from app.reading_files.refusals import SeveralBoxes, quoted, where
from app.reading_files.table.log_lines import LogLines
from app.reading_files.table.segment import Segment, Source

MOST_BOXES_LISTED = 30


def choose_box(source: Source, opened: LogLines, segments: list[Segment]) -> tuple[str | None, tuple[str, ...]]:
    """The box that is read, None if the file knows of none, and all boxes of the file in the order they appear."""
    if opened.sheets:
        return opened.sheet, opened.sheets
    found = dict.fromkeys(
        box for segment in segments if segment.boxes is not None for box in dict.fromkeys(segment.boxes) if box
    )
    boxes = tuple(found)
    wanted = source.choices.box
    if wanted is None and len(boxes) <= 1:
        return (boxes[0] if boxes else None), boxes
    if wanted in found:
        return wanted, boxes
    line = segments[0].header.line + 1 or None
    place = where(source.file_name, line)
    if not boxes:
        raise SeveralBoxes(
            f"{place}: The box {quoted(wanted or '')} was asked for, and no column names boxes. Leave the box empty.",
            file_name=source.file_name,
            boxes=(),
            line=line,
        )
    listed = ", ".join(quoted(box) for box in boxes[:MOST_BOXES_LISTED])
    more = f" and {len(boxes) - MOST_BOXES_LISTED} more" if len(boxes) > MOST_BOXES_LISTED else ""
    column = next((column.header for column in segments[0].columns if column.use == "box"), "box")
    said = f"There is no box {quoted(wanted)}" if wanted is not None else f"The file holds {len(boxes)} boxes"
    raise SeveralBoxes(
        f"{place}: {said} in the column {quoted(column)}: {listed}{more}. Choose one of them as the box.",
        file_name=source.file_name,
        boxes=boxes,
        line=line,
    )
