"""Columns with the same channel: several detectors, variants, copies."""

from dataclasses import dataclass

from app.reading_files.headers.channels import split_detector
from app.reading_files.headers.words import Meaning


@dataclass(frozen=True, slots=True)
class Named:
    """The channel of a column; dropped with a reason if it duplicates another one."""

    channel: str
    reason: str
    dropped: bool = False


def one_name_each(drafts: dict[int, Meaning], cells: list[list[str]], chosen: dict[int, str]) -> dict[int, Named]:
    """Each column with a channel of its own: the first detector pm2_5, the second pm2_5_b, and so on.

    drafts : position to the header's meaning, all with a channel
    cells : for each position, the first cells that are not empty
    chosen : positions whose channel a person chose; they come first and keep their name
    """
    groups: dict[str, list[int]] = {}
    for position, meaning in drafts.items():
        groups.setdefault(meaning.channel or "", []).append(position)
    taken: set[str] = set()
    result: dict[int, Named] = {}
    for name, positions in groups.items():
        positions.sort(key=lambda position: (position not in chosen, drafts[position].detector, position))
        variants: dict[str, str] = {}
        kept: list[int] = []
        for position in positions:
            meaning = drafts[position]
            variant = variants.setdefault(meaning.detector, meaning.variant)
            if position not in chosen:
                copy = next((other for other in kept if cells[position] and cells[other] == cells[position]), None)
                if copy is not None and meaning.detector == drafts[copy].detector:
                    result[position] = Named(name, "same values as another column of this channel", True)
                    continue
                if variant != meaning.variant:
                    result[position] = Named(name, "another calculation from the same detector", True)
                    continue
            free = _free_name(name, "" if position in chosen else meaning.detector, taken)
            if free is None:
                result[position] = Named(name, "a fifth column of the same channel", True)
                continue
            taken.add(free)
            kept.append(position)
            result[position] = Named(free, meaning.reason)
    return _lone_detectors(result)


def _free_name(name: str, detector: str, taken: set[str]) -> str | None:
    base, marked = split_detector(name)
    candidates = [name if marked else f"{base}_{detector}" if detector else base]
    candidates += [base, *(f"{base}_{letter}" for letter in "bcd")]
    return next((candidate for candidate in candidates if candidate not in taken), None)


def _lone_detectors(result: dict[int, Named]) -> dict[int, Named]:
    """A channel whose only detector is marked as the second becomes the channel itself, unless a person chose it."""
    names = {named.channel for named in result.values() if not named.dropped}
    renamed = {}
    for position, named in result.items():
        base, letter = split_detector(named.channel)
        lone = letter and not named.dropped and base not in names and named.reason != "set by choice"
        renamed[position] = Named(base, named.reason) if lone else named
    return renamed
