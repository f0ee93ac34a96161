"""What each column of a table is taken for: a channel, a box, a status, or left out, and why."""

import re
from dataclasses import dataclass

from app.reading_files.channels import RAW_COUNTS, channel, channel_name, split_detector
from app.reading_files.header_search import Header
from app.reading_files.header_words import Meaning, header_meaning, plain_words
from app.reading_files.log_table import LogColumn, ReadingChoices
from app.reading_files.number_text import number_in
from app.reading_files.preamble import Preamble
from app.reading_files.time_columns import TimePlan
from app.reading_files.unit_symbols import conversion, is_unit, shown_unit

NO_CHANNEL_USES = ("time", "elapsed", "box", "status")
FIRST_VALUES = 5

_BOX_HEADER = re.compile(
    r"(?:device|unit|box|sensor|logger|monitor|serial|station|site|location|probe|node|subject|instrument|mac|label)"
    r"[\s_.]*(?:id|no|nr|number|name|serial|#)?"
)
_STATUS_HEADER = re.compile(r"status|error|alarm|flag|event|comment|note|remark|qc|inlet|bemerkung")
_ASSUMED_UNITS = {"µg/m³": "µg/m³", "°C": "°C", "%": "%", "hPa": "hPa", "W": "W", "dB(A)": "dB(A)", "ppm": "ppm"}


@dataclass(frozen=True, slots=True)
class Roles:
    """The columns with their uses.

    box_position : column that tells the box of a row, None if there is none
    """

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


def find_roles(
    header: Header,
    cells: list[list[str]],
    plan: TimePlan | None,
    chosen: dict[int, str],
    choices: ReadingChoices,
    preamble: Preamble,
    decimal_mark: str,
    file_name: str,
) -> Roles:
    """What each column is taken for.

    cells : for each position, the first cells that are not empty
    """
    box = _box_position(header, cells, chosen, decimal_mark)
    drafts: dict[int, tuple[Meaning, str]] = {}
    columns: list[LogColumn] = []
    for position, name in enumerate(header.names):
        if plan is not None and position in plan.positions:
            columns.append(_unused(position, name, cells, "time", "tells the time of a row"))
        elif position == box:
            columns.append(_unused(position, name, cells, "box", "tells which box a row is from"))
        else:
            draft = _draft(position, header, cells[position], chosen, preamble, decimal_mark)
            if draft[1] == "channel":
                drafts[position] = draft
            columns.append(_unused(position, name, cells, draft[1], draft[0].reason))
    if not drafts and header.line < 0:
        drafts = _by_file_name(header, cells, plan, file_name, decimal_mark, chosen)
    named = _one_name_each(drafts, header, chosen)
    for position, (name, reason, dropped) in named.items():
        if dropped:
            columns[position] = _unused(position, header.names[position], cells, "left out", reason)
        else:
            unit = choices.units.get(header.names[position], drafts[position][0].unit)
            columns[position] = _as_channel(position, header.names[position], cells, name, unit, reason, preamble)
    return Roles(tuple(columns), box)


def _unused(position: int, name: str, cells: list[list[str]], use: str, reason: str) -> LogColumn:
    first = tuple(cells[position][:FIRST_VALUES])
    return LogColumn(position, name, None, use, "", "", 1.0, 0.0, reason, first)


def _box_position(header: Header, cells: list[list[str]], chosen: dict[int, str], decimal_mark: str) -> int | None:
    for position, use in chosen.items():
        if use == "box":
            return position
    for position, name in enumerate(header.names):
        if position in chosen or not cells[position]:
            continue
        if _BOX_HEADER.fullmatch(plain_words(name).strip()):
            whole = all(re.fullmatch(r"\d{1,12}", cell) for cell in cells[position])
            text = not any(number_in(cell, decimal_mark) is not None for cell in cells[position])
            units = all(is_unit(cell) for cell in cells[position])
            if (whole or text) and not units:
                return position
    return None


def _draft(
    position: int, header: Header, cells: list[str], chosen: dict[int, str], preamble: Preamble, decimal_mark: str
) -> tuple[Meaning, str]:
    """The meaning of a column and its use: "channel", "status" or "left out"."""
    name = header.names[position]
    meaning = header_meaning(name, header.units[position])

    def use(what: str, reason: str, found: str | None = None) -> tuple[Meaning, str]:
        return Meaning(found, meaning.detector, meaning.variant, meaning.unit, reason), what

    if position in chosen:
        if chosen[position] == "":
            return use("left out", "left out by choice")
        if chosen[position] in NO_CHANNEL_USES:
            return use("status", "set aside by choice")
        return use("channel", "set by choice", chosen[position])
    if not cells:
        return (
            use("left out", "empty in the first rows")
            if meaning.channel is None
            else use("channel", f"{meaning.reason}; empty at first", meaning.channel)
        )
    numeric = sum(_holds_number(cell, decimal_mark) for cell in cells)
    if numeric < 0.2 * len(cells):
        if meaning.channel is not None and numeric:
            return use("channel", meaning.reason, meaning.channel)
        what = "status" if _STATUS_HEADER.search(plain_words(name)) else "left out"
        return use(what, "holds text, not numbers")
    if meaning.channel is not None:
        found = meaning.channel
        if found == "pm_total" and preamble.inlet:
            found = header_meaning(preamble.inlet).channel or found
        binned = re.fullmatch(r"count_bin_(\d+)", found)
        if binned and int(binned[1]) in preamble.bins:
            found = f"count_{preamble.bins[int(binned[1])].replace('.', '_')}"
        return use("channel", meaning.reason, found)
    if re.fullmatch(r"\d+(?:[.,]\d+)?", name) and preamble.unit and conversion(preamble.unit, "1/cm³"):
        return use(
            "channel",
            "a size, below a line that gives a number unit",
            f"count_{name.replace(',', '.').replace('.', '_')}nm",
        )
    known_otherwise = not meaning.reason.startswith("no word")
    if meaning.unit and is_unit(meaning.unit) and not known_otherwise:
        return use(
            "channel",
            "kept under its own name: the unit is known, the word is not",
            channel_name(name_without_unit(name)),
        )
    return use("left out", meaning.reason)


def name_without_unit(name: str) -> str:
    """The header text without the unit in it."""
    from app.reading_files.header_words import split_unit

    return split_unit(name)[0]


def _holds_number(cell: str, decimal_mark: str) -> bool:
    return (
        number_in(cell, decimal_mark) is not None
        or re.match(r"[-+]?\d+(?:[.,]\d+)?\s*[^\d\s:/.-]{1,8}$", cell) is not None
    )


def _by_file_name(
    header: Header,
    cells: list[list[str]],
    plan: TimePlan | None,
    file_name: str,
    decimal_mark: str,
    chosen: dict[int, str],
) -> dict[int, tuple[Meaning, str]]:
    """A table without any header: the name of the file may tell what its first column of numbers is."""
    meaning = header_meaning(re.sub(r"[_\-.]+", " ", file_name.rpartition(".")[0] or file_name))
    if meaning.channel is None or meaning.channel.startswith("count"):
        return {}
    for position in range(len(header.names)):
        taken = (plan is not None and position in plan.positions) or position in chosen
        if not taken and cells[position] and all(_holds_number(cell, decimal_mark) for cell in cells[position]):
            reason = f"the table has no header; the name of the file says {meaning.channel}"
            return {position: (Meaning(meaning.channel, "", "", "", reason), "channel")}
    return {}


def _one_name_each(
    drafts: dict[int, tuple[Meaning, str]], header: Header, chosen: dict[int, str]
) -> dict[int, tuple[str, str, bool]]:
    """Position to channel, reason, and whether it is dropped; columns of one channel become its detectors."""
    groups: dict[str, list[int]] = {}
    for position, (meaning, _) in drafts.items():
        groups.setdefault(meaning.channel or "", []).append(position)
    named: dict[str, int] = {}
    result: dict[int, tuple[str, str, bool]] = {}
    for base, positions in groups.items():
        plain_base, marked = split_detector(base)
        positions.sort(key=lambda position: (position not in chosen, drafts[position][0].detector, position))
        variants: dict[str, str] = {}
        for position in positions:
            meaning = drafts[position][0]
            earlier = variants.setdefault(meaning.detector, meaning.variant)
            if earlier != meaning.variant and position not in chosen:
                result[position] = (base, "another calculation of the same detector", True)
                continue
            letters = [""] if marked else []
            letters += [meaning.detector] if meaning.detector and position not in chosen else []
            letters += ["", "b", "c", "d"]
            name = next(
                (
                    f"{plain_base}_{letter}" if letter else base
                    for letter in letters
                    if (f"{plain_base}_{letter}" if letter else base) not in named
                ),
                None,
            )
            if name is None:
                result[position] = (base, "a fifth column of the same channel", True)
                continue
            named[name] = position
            result[position] = (name, meaning.reason, False)
    return _first_detectors_first(result)


def _first_detectors_first(result: dict[int, tuple[str, str, bool]]) -> dict[int, tuple[str, str, bool]]:
    """A channel whose only detector is marked as the second one is the channel itself."""
    names = {name for name, _, dropped in result.values() if not dropped}
    renamed = {}
    for position, (name, reason, dropped) in result.items():
        base, letter = split_detector(name)
        if letter and not dropped and base not in names:
            name = base
        renamed[position] = (name, reason, dropped)
    return renamed


def _as_channel(
    position: int, header_name: str, cells: list[list[str]], name: str, unit: str, reason: str, preamble: Preamble
) -> LogColumn:
    wanted = channel(name).unit
    first = tuple(cells[position][:FIRST_VALUES])
    if not unit and preamble.unit and wanted and conversion(preamble.unit, wanted):
        unit, reason = preamble.unit, f"{reason}; unit from the lines above the table"
    turned = conversion(unit, wanted) if unit else None
    if turned is not None:
        return LogColumn(
            position,
            header_name,
            name,
            "channel",
            shown_unit(unit),
            wanted,
            turned.factor,
            turned.offset,
            reason,
            first,
        )
    if unit:
        own = shown_unit(unit)
        note = f"; {own} cannot be turned into {wanted} and is kept" if wanted else ""
        return LogColumn(position, header_name, name, "channel", own, own, 1.0, 0.0, reason + note, first)
    if wanted == "1/cm³":
        return LogColumn(
            position,
            header_name,
            name,
            "channel",
            "",
            RAW_COUNTS,
            1.0,
            0.0,
            f"{reason}; no unit: counts as they are",
            first,
        )
    if name.startswith("voc") and "index" in plain_words(header_name):
        return LogColumn(position, header_name, name, "channel", "index", "index", 1.0, 0.0, reason, first)
    assumed = _ASSUMED_UNITS.get(wanted, wanted)
    said = f"{reason}; no unit in the file: {assumed} assumed" if assumed else f"{reason}; no unit in the file"
    return LogColumn(position, header_name, name, "channel", "", assumed, 1.0, 0.0, said, first)
