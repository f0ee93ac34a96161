"""Assigns each column of a table: a channel, a box, a status, or excluded, with the reason."""

import re
from dataclasses import dataclass, replace

from app.reading_files.headers.channels import COUNT_UNIT, RAW_COUNTS, channel, channel_name
from app.reading_files.headers.detectors import one_name_each
from app.reading_files.headers.particle_sizes import sizes_in_tenths
from app.reading_files.headers.preamble import Preamble
from app.reading_files.headers.search import Header
from app.reading_files.headers.words import Meaning, header_meaning, split_unit
from app.reading_files.log_table import LogColumn, ReadingChoices
from app.reading_files.refusals import ColumnsNotRecognised, quoted, where
from app.reading_files.text.line_fields import plain_text
from app.reading_files.text.number_text import number_in, number_with_unit
from app.reading_files.text.unit_symbols import conversion, is_unit, shown_unit
from app.reading_files.time.columns import TimePlan


def as_channel(
    position: int, header: str, name: str, unit: str, reason: str, first_values: tuple[str, ...], preamble: Preamble
) -> LogColumn:
    """The column as the channel `name`, with the conversion from its unit.

    unit : from the header, a line of units or a person; "" if unknown
    """

    def column(file_unit: str, channel_unit: str, factor: float, offset: float, why: str) -> LogColumn:
        return LogColumn(position, header, name, "channel", file_unit, channel_unit, factor, offset, why, first_values)

    wanted = channel(name).unit
    if not unit and preamble.unit and wanted and conversion(preamble.unit, wanted):
        unit, reason = preamble.unit, f"{reason}; unit of measure from the lines above the table"
    turned = conversion(unit, wanted) if unit else None
    if turned is not None:
        return column(shown_unit(unit), wanted, turned.factor, turned.offset, reason)
    if unit:
        own = shown_unit(unit)
        why = f"{reason}; {own} cannot be converted to {wanted}, so it stays as it is" if wanted else reason
        return column(own, own, 1.0, 0.0, why)
    if wanted == COUNT_UNIT:
        return column("", RAW_COUNTS, 1.0, 0.0, f"{reason}; no unit of measure in the file: raw counts")
    if name.startswith("voc") and "index" in plain_text(header):
        return column("index", "index", 1.0, 0.0, reason)
    why = f"{reason}; no unit of measure in the file" + (f": {wanted} assumed" if wanted else "")
    return column("", wanted, 1.0, 0.0, why)


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
    """Raises ColumnsNotRecognised unless the table has times, a channel, and every requested column.

    missing : requested headers that the file does not have
    """
    listed = ", ".join(quoted(name) for name in header.names[:NAMES_LISTED])
    if len(header.names) > NAMES_LISTED:
        listed += f" and {len(header.names) - NAMES_LISTED} more"
    if missing:
        problem = f"There is no column {quoted(missing[0])}. The columns are {listed}. Choose one of these."
    elif not has_time:
        problem = (
            f"No column holds times. The columns are {listed}. A column with date and time, or seconds since the "
            "start, is required; if there is one, select it."
        )
    elif not has_channel:
        problem = (
            f"No channel was recognised. The columns are {listed}. Say what one of them holds, such as PM2.5, or name "
            "the line that holds the right header."
        )
    else:
        return
    line = header.line + 1 if header.line >= 0 else header.first_row + 1
    raise ColumnsNotRecognised(
        f"{where(file_name, line)}: {problem}", file_name=file_name, columns=columns, line=line, text=listed
    )


NO_CHANNEL_USES = ("time", "elapsed", "box", "status")
FIRST_VALUES = 5
CELLS_LOOKED_AT = 40
SMALLEST_SHARE_OF_NUMBERS = 0.2

_BOX_HEADER = re.compile(
    r"(?:device|unit|box|sensor|logger|monitor|serial|station|site|location|probe|node|subject|instrument|mac|label)"
    r"[\s_.]*(?:id|no|nr|number|name|serial|#)?"
)
_STATUS_HEADER = re.compile(r"status|error|alarm|flag|event|comment|note|remark|qc|inlet|bemerkung")


@dataclass(frozen=True, slots=True)
class Table:
    """A table before its columns are assigned.

    cells : for each position, the first cells that are not empty
    chosen : position to a person's choice
    """

    header: Header
    cells: list[list[str]]
    plan: TimePlan | None
    chosen: dict[int, str]
    choices: ReadingChoices
    preamble: Preamble
    decimal_mark: str
    file_name: str


@dataclass(frozen=True, slots=True)
class Roles:
    """The columns with their uses; box_position is the column that identifies the box of a row, or None."""

    columns: tuple[LogColumn, ...]
    box_position: int | None


def chosen_positions(header: Header, choices: ReadingChoices) -> tuple[dict[int, str], list[str]]:
    """Position to chosen channel or use, and the chosen headers that the file does not have."""
    places = {name: position for position, name in enumerate(header.names)}
    folded = {name.casefold().strip(): position for name, position in places.items()}
    chosen: dict[int, str] = {}
    missing = []
    for name, use in choices.columns.items():
        position = places.get(name, folded.get(name.casefold().strip()))
        if position is None:
            missing.append(name)
        else:
            chosen[position] = use if use in ("", *NO_CHANNEL_USES) else channel_name(use)
    return chosen, missing


def find_roles(table: Table) -> Roles:
    """The use of each column."""
    header, plan = table.header, table.plan
    box = _box_position(table)
    drafts: dict[int, Meaning] = {}
    columns: list[LogColumn] = []
    for position in range(len(header.names)):
        if plan is not None and position in plan.positions:
            use, reason = "time", "time"
        elif position == box:
            use, reason = "box", "box"
        else:
            use, meaning = _draft(table, position)
            reason = meaning.reason
            if use == "channel":
                drafts[position] = meaning
        columns.append(_unused(table, position, use, reason))
    if not drafts and header.line < 0:
        drafts = _by_file_name(table)
    _sizes_by_their_neighbours(table, drafts)
    for position, named in one_name_each(drafts, table.cells, table.chosen).items():
        if named.dropped:
            columns[position] = _unused(table, position, "left out", named.reason)
        else:
            name = header.names[position]
            unit = table.choices.units.get(name, drafts[position].unit)
            first = tuple(table.cells[position][:FIRST_VALUES])
            columns[position] = as_channel(position, name, named.channel, unit, named.reason, first, table.preamble)
    return Roles(tuple(columns), box)


def _unused(table: Table, position: int, use: str, reason: str) -> LogColumn:
    first = tuple(table.cells[position][:FIRST_VALUES])
    return LogColumn(position, table.header.names[position], None, use, "", "", 1.0, 0.0, reason, first)


def _box_position(table: Table) -> int | None:
    for position, use in table.chosen.items():
        if use == "box":
            return position
    for position, name in enumerate(table.header.names):
        cells = table.cells[position]
        if position in table.chosen or not cells or not _BOX_HEADER.fullmatch(plain_text(name).strip()):
            continue
        whole = all(re.fullmatch(r"\d{1,12}", cell) for cell in cells)
        text = not any(number_in(cell, table.decimal_mark) is not None for cell in cells)
        if (whole or text) and not all(is_unit(cell) for cell in cells):
            return position
    return None


def _draft(table: Table, position: int) -> tuple[str, Meaning]:
    """The use of a column ("channel", "status" or "left out") and the meaning of its header."""
    name, cells = table.header.names[position], table.cells[position]
    meaning = header_meaning(name, table.header.units[position])
    if position in table.chosen:
        return _by_choice(meaning, table.chosen[position])
    if not cells:
        use = "channel" if meaning.channel else "left out"
        return use, replace(meaning, reason=f"{meaning.reason}; empty in the first rows")
    looked_at = cells[:CELLS_LOOKED_AT]
    numbers = sum(_holds_number(cell, table.decimal_mark) for cell in looked_at)
    if numbers < SMALLEST_SHARE_OF_NUMBERS * len(looked_at) and not (meaning.channel and numbers):
        use = "status" if _STATUS_HEADER.search(plain_text(name)) else "left out"
        time = table.plan is not None and position in table.plan.passed_over
        return use, replace(meaning, channel=None, reason="another time column" if time else "holds text, not numbers")
    return _by_header(table, position, meaning)


def _by_choice(meaning: Meaning, chosen: str) -> tuple[str, Meaning]:
    if chosen == "":
        return "left out", replace(meaning, channel=None, reason="not used (by choice)")
    if chosen in NO_CHANNEL_USES:
        return "status", replace(meaning, channel=None, reason="set as status (by choice)")
    return "channel", replace(meaning, channel=chosen, reason="set by choice")


def _by_header(table: Table, position: int, meaning: Meaning) -> tuple[str, Meaning]:
    """A numeric column, from its header and the lines above the table."""
    name, preamble = table.header.names[position], table.preamble
    found = meaning.channel
    if found == "pm_total" and preamble.inlet:
        found = header_meaning(preamble.inlet).channel or found
    binned = re.fullmatch(r"count_bin_(\d+)", found or "")
    if binned and int(binned[1]) in preamble.bins:
        found = f"count_{preamble.bins[int(binned[1])].replace('.', '_')}"
    if found is not None:
        return "channel", replace(meaning, channel=found)
    if re.fullmatch(r"\d+(?:[.,]\d+)?", name) and preamble.unit and conversion(preamble.unit, "1/cm³"):
        size = re.sub(r"[.,]", "_", name)
        reason = "a size, below a line with a number concentration unit"
        return "channel", replace(meaning, channel=f"count_{size}nm", unit=preamble.unit, reason=reason)
    if meaning.is_unknown and meaning.unit and is_unit(meaning.unit) and channel_name(split_unit(name)[0]):
        reason = "stored under its own name: known unit of measure, unknown header"
        return "channel", replace(meaning, channel=channel_name(split_unit(name)[0]), reason=reason)
    if table.plan is not None and position in table.plan.passed_over:
        return "left out", replace(meaning, reason="another time column")
    return "left out", meaning


def _holds_number(cell: str, decimal_mark: str) -> bool:
    return number_in(cell, decimal_mark) is not None or number_with_unit(cell, decimal_mark) is not None


def _by_file_name(table: Table) -> dict[int, Meaning]:
    """A table without a header: the file name may identify its first numeric column."""
    stem = table.file_name.rpartition(".")[0] or table.file_name
    meaning = header_meaning(re.sub(r"[_\-.]+", " ", stem)[:200])
    if meaning.channel is None or meaning.channel.startswith("count"):
        return {}
    for position in range(len(table.header.names)):
        taken = (table.plan is not None and position in table.plan.positions) or position in table.chosen
        cells = table.cells[position]
        if not taken and cells and all(_holds_number(cell, table.decimal_mark) for cell in cells):
            reason = f"the table has no header; the file name says {meaning.channel}"
            return {position: Meaning(meaning.channel, "", "", "", reason)}
    return {}


def _sizes_by_their_neighbours(table: Table, drafts: dict[int, Meaning]) -> None:
    """Sizes that only make sense beside others: Bin1 is 1 µm beside Bin0.35, otherwise the first bin."""
    in_tenths = any(sizes_in_tenths(plain_text(table.header.names[position])) for position in drafts)
    for position, draft in drafts.items():
        size = re.fullmatch(r"count_(\d{2,3})um", draft.channel or "")
        if in_tenths and size:  # beside particles_03um, particles_25um is 2.5 µm
            tenths = f"{int(size[1]) / 10:g}".replace(".", "_")
            drafts[position] = replace(draft, channel=f"count_{tenths}um")
    sized = any(re.fullmatch(r"count_\d+(?:_\d+)?um", draft.channel or "") for draft in drafts.values())
    for position, draft in drafts.items():
        binned = re.fullmatch(r"count_bin_(\d+)", draft.channel or "")
        if binned and sized:
            drafts[position] = replace(draft, channel=f"count_{binned[1]}um")
