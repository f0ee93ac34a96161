"""Which columns hold the time of a row, and in which form."""

import re
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from app.reading_files.headers.search import Header, is_time_header
from app.reading_files.headers.words import split_unit
from app.reading_files.refusals import quoted
from app.reading_files.text.line_fields import plain_text
from app.reading_files.text.number_text import number_in
from app.reading_files.text.time_text import parse_durations, parse_times
from app.reading_files.text.unit_symbols import seconds_in

Kind = Literal["datetime", "date and time", "epoch", "serial day", "elapsed", "duration", "time of day", "rows"]

_ZONE_IN_HEADER = re.compile(r"\b(?:utc|gmt)\s*([+-]\s?\d{1,2}(?::?\d{2})?)", re.IGNORECASE)
_UTC = re.compile(r"(?:^|[^a-z])(?:utc|gmt|zulu)(?:$|[^a-z])")
_LOCAL = re.compile(r"(?:^|[^a-z])(?:local|lst|lokal|lokale|ortszeit)(?:$|[^a-z])")
_UPLOADED = re.compile(r"upload|received|sent|server|insert|created|ingest")
_END = re.compile(r"(?:^|[^a-z])(?:end|stop|ende|fin)(?:$|[^a-z])")
_ELAPSED = re.compile(r"elapsed|seconds|relative|uptime|runtime|since|laufzeit|duration|^t$|(?:^|\W)secs?$")
_FROM_A_START = re.compile(r"elapsed|uptime|runtime|relative|laufzeit|duration")
_RECORD_NUMBER = re.compile(r"^(?:#|no|nr|record|sample|index|row|n|reading)[\s_.#]*(?:no|nr|number|id)?$")

CELLS_LOOKED_AT = 60
MOST_CANDIDATES = 40
UNTOLD_LOOKED_AT = 100  # columns further right without a word for time in the header are not tried
EPOCH_SCALES = ((1e9, 4.2e9, 1.0), (1e12, 4.2e12, 1e-3), (1e15, 4.2e15, 1e-6), (1e18, 4.2e18, 1e-9))
SERIAL_DAYS = (20_000.0, 80_000.0)  # 1954 to 2119, in spreadsheet days


@dataclass(frozen=True, slots=True)
class TimePlan:
    """How to read the time of a row.

    positions : the columns, date before time of day
    zone : "UTC" or "UTC-05:00" from the header; "" if not given
    seconds : length of the unit of an elapsed or epoch time, or of the interval between rows
    notes : sentences on what was decided
    passed_over : other time columns, not used
    """

    kind: Kind
    positions: tuple[int, ...]
    zone: str = ""
    seconds: float = 1.0
    notes: tuple[str, ...] = ()
    passed_over: tuple[int, ...] = ()

    @property
    def counts_from_start(self) -> bool:
        """Whether times count from a start given elsewhere."""
        return self.kind in ("elapsed", "duration", "rows")

    @property
    def is_number(self) -> bool:
        """Whether the time is a number in the table."""
        return self.kind in ("epoch", "elapsed", "serial day", "rows")


@dataclass(frozen=True, slots=True)
class _Candidate:
    position: int
    name: str
    kind: str  # datetime, date, time, number, duration
    score: int
    zone: str
    local: bool
    values: tuple[float, ...] = ()


def find_time_plan(
    header: Header,
    columns: list[list[str]],
    decimal_mark: str,
    chosen: dict[int, str],
    day_first: bool | None,
    interval_s: float | None,
) -> TimePlan | None:
    """The time plan of a table; None without a time column.

    columns : for each position, the first cells that are not empty
    chosen : position to a person's choice: "time", "elapsed", or a channel
    """
    candidates = []
    for position, name in enumerate(header.names):
        said = chosen.get(position)
        if said is not None and said not in ("time", "elapsed"):
            continue
        candidate = _candidate(position, name, header.units[position], columns[position], decimal_mark, said, day_first)
        if candidate is not None:
            candidates.append(candidate)
        if len(candidates) >= MOST_CANDIDATES and said is None:
            break
    if any(said in ("time", "elapsed") for said in chosen.values()):
        candidates = [candidate for candidate in candidates if chosen.get(candidate.position) in ("time", "elapsed")]
    plan = (
        _dated(candidates)
        or _numbered(candidates, header)
        or _time_of_day(candidates)
        or _by_rows(header, columns, interval_s)
    )
    if plan is None:
        return None
    others = tuple(candidate.position for candidate in candidates if candidate.position not in plan.positions)
    return replace(plan, passed_over=others)


def _candidate(
    position: int, name: str, unit: str, cells: list[str], decimal_mark: str, said: str | None, day_first: bool | None
) -> _Candidate | None:
    timely = is_time_header(name)
    untold = not timely and said is None
    if not cells or (untold and (position >= UNTOLD_LOOKED_AT or _all_numbers(cells[:20], decimal_mark))):
        return None
    plain = plain_text(name)
    zone_found = _ZONE_IN_HEADER.search(name)
    zone = f"UTC{zone_found[1].replace(' ', '')}" if zone_found else "UTC" if _UTC.search(plain) else ""
    score = (4 if timely else 0) + (10 if said else 0) + (3 if zone else 0)
    score -= (6 if _UPLOADED.search(plain) else 0) + (5 if _END.search(plain) else 0)
    score -= 1 if _LOCAL.search(plain) else 0
    local = bool(_LOCAL.search(plain))
    sample = cells[:CELLS_LOOKED_AT]
    numbers = [number_in(cell, decimal_mark) for cell in sample]
    values = tuple(value for value in numbers if value is not None)
    compact = sum(re.fullmatch(r"(?:19|20)\d{6}(?:\d{4}|\d{6})?", cell) is not None for cell in sample)
    if len(values) >= 0.6 * len(sample) and not compact >= 0.6 * len(sample):
        return _Candidate(position, name, "number", score, zone, local, values)
    parsed = parse_times(sample, day_first)
    for kind, code in (("datetime", 0), ("date", 1), ("time", 2)):
        share = (parsed.kind == code).mean()
        if share >= 0.5 or (code == 0 and ((parsed.kind == 0) | (parsed.kind == 1)).mean() >= 0.5 and share > 0.2):
            if kind == "time" and _ELAPSED.search(plain) and not re.search(r"clock|utc", plain):
                return _Candidate(position, name, "duration", score, zone, local)
            if kind == "datetime" and not parsed.time_us[parsed.kind == 0].any():
                kind = "date"  # a spreadsheet date is its midnight
            bonus = 2 if kind == "datetime" and parsed.has_offset.mean() >= 0.5 else 0
            return _Candidate(position, name, kind, score + bonus, zone, local)
    if (~np.isnan(parse_durations(sample))).mean() >= 0.5:
        return _Candidate(position, name, "duration", score, zone, local)
    return None


def _all_numbers(cells: list[str], decimal_mark: str) -> bool:
    return all(number_in(cell, decimal_mark) is not None for cell in cells)


def _dated(candidates: list[_Candidate]) -> TimePlan | None:
    """One column with date and time, or two; preferably with a known zone, and not an upload time."""
    plans: list[tuple[int, int, TimePlan, list[_Candidate]]] = []
    for candidate in candidates:
        if candidate.kind == "datetime":
            plans.append((candidate.score, -candidate.position, _plan("datetime", [candidate]), [candidate]))
        if candidate.kind == "date":
            clocks = [
                other for other in candidates if other.kind in ("time", "duration") and _belongs(candidate, other)
            ]
            if clocks:
                clock = max(
                    clocks,
                    key=lambda other: (other.kind == "time", other.score, -abs(other.position - candidate.position)),
                )
                pair = [candidate, clock]
                plans.append(
                    (min(candidate.score, clock.score), -candidate.position, _plan("date and time", pair), pair)
                )
            else:
                plans.append((candidate.score - 8, -candidate.position, _plan("datetime", [candidate]), [candidate]))
    epochs = [candidate for candidate in candidates if candidate.kind == "number" and _epoch_scale(candidate)]
    for candidate in epochs:
        told = is_time_header(candidate.name) or candidate.score >= 10
        if told and not _FROM_A_START.search(plain_text(candidate.name)):
            plan = TimePlan("epoch", (candidate.position,), "UTC", _epoch_scale(candidate) or 1.0)
            plans.append((candidate.score + 3, -candidate.position, plan, [candidate]))
    if not plans:
        return None
    *_, plan, used = max(plans, key=lambda item: item[:2])
    notes = list(plan.notes)
    if any(_UPLOADED.search(plain_text(candidate.name)) for candidate in used):
        notes.append(
            f"The times in “{used[0].name}” are upload or receiver times: readings were taken some time earlier."
        )
    others = [item for item in plans if item[2] is not plan and not set(item[2].positions) & set(plan.positions)]
    if plan.zone and any(candidate.local for item in others for candidate in item[3]):
        notes.append("The file also has local times; the times with a known UTC offset were used.")
    return TimePlan(plan.kind, plan.positions, plan.zone, plan.seconds, tuple(notes))


def _belongs(date: _Candidate, clock: _Candidate) -> bool:
    """Whether two headers match: Date (UTC) goes with Time (UTC), not with Time (LST)."""
    return (date.zone, date.local) == (clock.zone, clock.local) or not (
        clock.zone or clock.local or date.zone or date.local
    )


def _plan(kind: Kind, used: list[_Candidate]) -> TimePlan:
    zone = next((candidate.zone for candidate in used if candidate.zone), "")
    return TimePlan(kind, tuple(candidate.position for candidate in used), zone)


def _epoch_scale(candidate: _Candidate) -> float | None:
    if not candidate.values:
        return None
    with np.errstate(over="ignore"):  # the middle of two huge numbers is infinite, and not a time either
        middle = float(np.median(candidate.values))
    return next((scale for low, high, scale in EPOCH_SCALES if low <= middle < high), None)


def _numbered(candidates: list[_Candidate], header: Header) -> TimePlan | None:
    """Elapsed time as a number or as 0:01:10, or spreadsheet days."""
    ranked = sorted(
        (candidate for candidate in candidates if candidate.kind in ("number", "duration")),
        key=lambda candidate: (
            -candidate.score - 3 * bool(_ELAPSED.search(plain_text(candidate.name))),
            candidate.position,
        ),
    )
    for candidate in ranked:
        if candidate.kind == "duration":
            return TimePlan("duration", (candidate.position,))
        name, unit = split_unit(candidate.name)
        bracketed = re.search(r"[(\[]\s*(\w+)\s*[)\]]", candidate.name)
        unit = unit or header.units[candidate.position] or (bracketed[1] if bracketed else "")
        words = plain_text(name)
        seconds = seconds_in(unit) if unit else next(filter(None, map(seconds_in, reversed(words.split()))), None)
        steps = np.diff(candidate.values)
        if len(steps) and (steps <= 0).mean() > 0.5 and (steps >= 0).mean() > 0.5:
            continue  # a constant number is not a time
        low, high = SERIAL_DAYS
        middle = float(np.median(candidate.values))
        if (
            seconds is None
            and low < middle < high
            and re.search(r"date|time|datum|fecha", words)
            and _fractional(candidate)
        ):
            return TimePlan("serial day", (candidate.position,), candidate.zone)
        note = () if seconds else (f"“{candidate.name}” has no unit of time: seconds were assumed.",)
        return TimePlan("elapsed", (candidate.position,), seconds=seconds or 1.0, notes=note)
    return None


def _fractional(candidate: _Candidate) -> bool:
    values = np.array(candidate.values)
    return bool((values != np.rint(values)).mean() > 0.3)


def _time_of_day(candidates: list[_Candidate]) -> TimePlan | None:
    clocks = [candidate for candidate in candidates if candidate.kind == "time"]
    if not clocks:
        return None
    best = max(clocks, key=lambda candidate: (candidate.score, -candidate.position))
    return TimePlan("time of day", (best.position,), best.zone)


def _by_rows(header: Header, columns: list[list[str]], interval_s: float | None) -> TimePlan | None:
    """No time column, but numbered rows and an interval in the preamble."""
    if not interval_s:
        return None
    for position, name in enumerate(header.names):
        if _RECORD_NUMBER.fullmatch(plain_text(name)) and columns[position]:
            note = (
                f"The rows have no time: it was derived from “{name}” and the interval of {interval_s:g} s above "
                "the table."
            )
            return TimePlan("rows", (position,), seconds=interval_s, notes=(note,))
    return None


_PERIOD_HEADER = re.compile(r"(?:sampl\w*|averag\w*|integration|measur\w*)?[\s_]*(?:period|length|interval|time)\b")
FACTOR_NOTED = 3.0
FEWEST_ROWS = 5


def first_row_note(header: Header, cells: list[list[str]], decimal_mark: str) -> str | None:
    """A note if the first row's period is several times that of the others, according to a column of periods.

    cells : for each position, the first cells that are not empty
    """
    for position, name in enumerate(header.names):
        if not _PERIOD_HEADER.match(plain_text(name)) or len(cells[position]) < FEWEST_ROWS:
            continue
        numbers = [number_in(cell, decimal_mark) for cell in cells[position]]
        periods = np.array([number for number in numbers if number is not None])
        if len(periods) < len(numbers) or (np.diff(periods) > 0).mean() > 0.9:
            continue  # text, or an elapsed time
        usual = float(np.median(periods[1:]))
        if usual > 0 and periods[0] > FACTOR_NOTED * usual:
            return (
                f"The first row covers {periods[0] / usual:.3g} times the period of the others (column "
                f"{quoted(name)}): its counts are not for one interval."
            )
    return None
