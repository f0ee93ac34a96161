"""`hazefall analyse`: the analysis of one log, as a report or as JSON."""

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from app.errors import InvalidValue

if TYPE_CHECKING:
    from app.compute.statistics.measured import Measured
    from app.reading_files.log_table import ReadingChoices
    from app.services.results.analyse_log import LogFile


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("log", metavar="LOG", type=Path, help="the logger's file")
    parser.add_argument("--room-volume-m3", metavar="V", type=number, required=True, help="room volume")
    parser.add_argument(
        "--room-volume-uncertainty-m3", metavar="U", type=number, help="standard uncertainty of the volume"
    )
    natural = parser.add_mutually_exclusive_group()
    natural.add_argument(
        "--empty-room",
        metavar="LOG2",
        type=Path,
        action="append",
        default=[],
        help="log of an empty-room run (repeatable)",
    )
    natural.add_argument(
        "--natural-decay-per-h", metavar="K", type=number, help="natural decay rate, with the unit off"
    )
    parser.add_argument("--natural-decay-uncertainty-per-h", metavar="U", type=number, help="its standard uncertainty")
    parser.add_argument(
        "--channel",
        metavar="NAME",
        action="append",
        default=[],
        help="channel, such as pm2_5 (repeatable; default: all)",
    )
    parser.add_argument("--unit-on", metavar="WHEN", help="unit on: ISO 8601 time, or minutes such as 12.5min")
    parser.add_argument("--end", metavar="WHEN", help="end of the run, in the same format")
    parser.add_argument("--background", metavar="LEVEL", type=number, help="background level, in the channel's unit")
    parser.add_argument(
        "--clear-level", metavar="LEVEL", type=number, help="level that counts as cleared, in the channel's unit"
    )
    parser.add_argument("--timezone", metavar="ZONE", help="time zone of local times, such as Europe/Berlin")
    parser.add_argument(
        "--columns",
        metavar="COLUMN=CHANNEL",
        action="append",
        default=[],
        help="channel of a column, such as “Dust=pm2_5”; own:NAME for a channel that is not in the list (repeatable)",
    )
    parser.add_argument("--box", metavar="NAME", help="which sheet, box or detector, if the file has several")
    parser.add_argument("--json", action="store_true", help="print the results as JSON")


def number(text: str) -> float:
    """Parses a number of the command line."""
    try:
        return float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number; enter one such as 30.5") from None


def run(arguments: argparse.Namespace) -> int:
    from app.reading_files.refusals import SeveralBoxes
    from app.services.results.analyse_log import (  # loaded when used: it needs scipy and pandas
        AnalysisRequest,
        analyse_log,
    )
    from app.services.results.analysis_json import analysis_json

    request = AnalysisRequest(
        room_volume=_room_volume(arguments),
        volume_is_exact=arguments.room_volume_uncertainty_m3 is None,
        natural_decay=_natural_decay(arguments),
        channels=tuple(arguments.channel),
        unit_on=arguments.unit_on,
        end=arguments.end,
        background=_given_level(arguments.background, "--background", lowest_allowed=True),
        clear_level=_given_level(arguments.clear_level, "--clear-level", lowest_allowed=False),
        choices=reading_choices(arguments),
        empty_rooms=tuple(_log_file(path) for path in arguments.empty_room),
    )
    try:
        analysis = analyse_log(_log_file(arguments.log), request)
    except SeveralBoxes as error:
        error.message = f"{error.message} Name it with --box."
        raise
    if arguments.json:
        json.dump(analysis_json(analysis), sys.stdout, indent=2, ensure_ascii=False, allow_nan=False)
        print()
    else:
        from app.command_line.analyse_report import report

        print(report(analysis, request))
    return 0


def _room_volume(arguments: argparse.Namespace) -> "Measured":
    from app.compute.statistics.measured import Measured

    volume, uncertainty = arguments.room_volume_m3, arguments.room_volume_uncertainty_m3
    if not 0 < volume < float("inf"):
        raise InvalidValue(f"--room-volume-m3 is {volume:g}; enter a volume above zero.")
    if uncertainty is not None and not 0 <= uncertainty < float("inf"):
        raise InvalidValue(f"--room-volume-uncertainty-m3 is {uncertainty:g}; enter a number of zero or above.")
    return Measured(volume, uncertainty or 0.0)


def _natural_decay(arguments: argparse.Namespace) -> "Measured | None":
    from app.compute.statistics.measured import Measured

    rate, uncertainty = arguments.natural_decay_per_h, arguments.natural_decay_uncertainty_per_h
    if rate is None:
        if uncertainty is not None:
            raise InvalidValue("--natural-decay-uncertainty-per-h needs --natural-decay-per-h too.")
        return None
    if not -float("inf") < rate < float("inf"):
        raise InvalidValue(f"--natural-decay-per-h is {rate:g}; enter a finite number per hour.")
    if uncertainty is not None and not 0 <= uncertainty < float("inf"):
        raise InvalidValue(f"--natural-decay-uncertainty-per-h is {uncertainty:g}; enter a number of zero or above.")
    return Measured(rate, uncertainty or 0.0)


def _given_level(level: float | None, option: str, *, lowest_allowed: bool) -> float | None:
    if level is None or 0 < level < float("inf") or (lowest_allowed and level == 0):
        return level
    needed = "of zero or above" if lowest_allowed else "above zero"
    raise InvalidValue(f"{option} is {level:g}; enter a number {needed}, in the channel's unit of measure.")


def reading_choices(arguments: argparse.Namespace) -> "ReadingChoices":
    """How to read the log: time zone, columns and box of the command line."""
    from app.reading_files.columns.asked_channels import requested_channel
    from app.reading_files.log_table import ReadingChoices

    columns: dict[str, str] = {}
    for text in arguments.columns:
        header, equals, channel = text.rpartition("=")
        if not equals or not header.strip() or not channel.strip():
            raise InvalidValue(f"--columns is {text!r}; use COLUMN=CHANNEL, such as “Dust [ug]=pm2_5”.")
        columns[header.strip()] = requested_channel(channel, "columns")
    return ReadingChoices(timezone=_zone(arguments.timezone), columns=columns, box=arguments.box)


def _zone(name: str | None) -> str | None:
    """The typed time zone. Raises InvalidValue for an unknown one, even if the log does not need it."""
    from app.errors import UnreadableLog
    from app.reading_files.time.zones import zone_named

    if name is None:
        return None
    try:
        zone_named(name)
    except UnreadableLog:
        raise InvalidValue(
            f"--timezone is {name!r}, which is not a known time zone; use a name such as Europe/Berlin or "
            "America/New_York, or an offset such as UTC+01:00."
        ) from None
    return name


def _log_file(path: Path) -> "LogFile":
    from app.services.results.analyse_log import LogFile

    try:
        return LogFile(path.read_bytes(), path.name)
    except OSError as error:
        raise InvalidValue(f"The file {path} cannot be opened: {error.strerror}. Check its name and folder.") from error
