"""The first lines of a staged file, for choosing the one that names the columns."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.errors import HazefallError, UnreadableLog
from app.reading_files.refusals import ColumnsNotRecognised
from app.services.adding_trials.staged_results import staged_first_lines
from app.services.adding_trials.staged_uploads import StagedUpload, StagingArea
from app.web.forms.typed_form import TypedForm

CHOSEN = "choose_header_line"  # sent by the button of a line
DETECTED = "detect"  # instead of a line: detect it, whatever the logger profile says
_SHOWN, _SHOWN_BELOW, _MOST_SHOWN = 30, 5, 200
_OF_COLUMNS = ("header_", "column_", "unit_")


@dataclass(frozen=True, slots=True)
class RawLine:
    """A line of the file, numbered from 1."""

    number: int
    text: str
    is_header: bool


def take_header_line(form: TypedForm) -> None:
    """Moves the line of a pressed button into its field; what was said of the columns of another header goes."""
    if CHOSEN not in form.values:
        return
    form.values["header_line"] = form.values.pop(CHOSEN)
    for name in [name for name in form.values if name.startswith(_OF_COLUMNS) and name[-1].isdecimal()]:
        del form.values[name]


def refused_header(refusal: UnreadableLog | None) -> int:
    """The line that was taken for the header of a table without times or channels; 0 if none was."""
    return refusal.line or 0 if isinstance(refusal, ColumnsNotRecognised) else 0


def raw_lines(area: StagingArea, upload: StagedUpload, box: str | None, header_line: int) -> Sequence[RawLine]:
    """The first lines, at least to some below the header; none of a file that holds no text.

    header_line : line of the names, 0 if there is none
    """
    most = min(max(_SHOWN, header_line + _SHOWN_BELOW), _MOST_SHOWN)
    try:
        lines = staged_first_lines(area, upload, box, most)
    except HazefallError:
        return ()
    return [RawLine(number, text, number == header_line) for number, text in enumerate(lines, start=1)]
