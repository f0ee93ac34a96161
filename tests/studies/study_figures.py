"""The figures of the committed tables that the method's description states, in the module that the program ships.

    python -m tests.studies.study_figures    # writes app/compute/study_tables.py from tests/studies/tables

Each study calls this after it has written its table. A test compares module, tables and the words of the page.
"""

import re
from dataclasses import fields
from pathlib import Path
from typing import Any

from app.compute.control_charts.reference import REFERENCE_RUNS
from app.compute.study_shapes import (
    ControlChartStudy,
    DecayCoverage,
    Disturbances,
    EarlyStop,
    IntervalWidths,
    JointRanks,
    RateEfficiency,
    RoomDrift,
    SmallSamples,
    TwoRatesPower,
    UnitOnFound,
)

TABLES = Path(__file__).parent / "tables"
SHAPES = (
    "ControlChartStudy",
    "DecayCoverage",
    "Disturbances",
    "EarlyStop",
    "IntervalWidths",
    "JointRanks",
    "RateEfficiency",
    "RoomDrift",
    "SmallSamples",
    "TwoRatesPower",
    "UnitOnFound",
)
SHIPPED = Path(__file__).parents[2] / "app" / "compute" / "study_tables.py"
_CELL = re.compile(r"(?P<name>\S.*?)\s+(?P<trials>\d+)\s+(?P<inside>[\d.]+)\s+(?P<error>-?[\d.]+)\s+(?P<u>[\d.]+)")


def _lines(table: str) -> list[str]:
    return (TABLES / f"{table}.txt").read_text(encoding="utf-8").splitlines()


def _section(lines: list[str], title: str) -> list[str]:
    """Lines after the one that begins with the title, up to the next empty line."""
    start = next(number for number, line in enumerate(lines) if line.startswith(title)) + 1
    return lines[start : lines.index("", start) if "" in lines[start:] else None]


def _cells(lines: list[str]) -> list[re.Match[str]]:
    return [found for line in lines if (found := _CELL.fullmatch(line))]


def decay_coverage() -> DecayCoverage:
    lines = _lines("decay_coverage")
    silent, noted = _cells(lines)[:2]
    single = _cells(_section(lines, "one condition, nothing noted"))
    pairs_title = next(line for line in lines if line.startswith("two conditions, nothing noted"))
    lowest = min(_cells(_section(lines, pairs_title)), key=lambda cell: float(cell["inside"]))
    levels: dict[str, list[float]] = {}
    for cell in single:
        condition, level = cell["name"].split()
        levels.setdefault(condition, []).append(float(level))
    (beyond,) = _cells(_section(lines, "beyond the grid"))
    smallest = int(re.findall(r"cells of (\d+) trials", pairs_title)[0])
    return DecayCoverage(
        trials=int(silent["trials"]) + int(noted["trials"]),
        silent_trials=int(silent["trials"]),
        silent_percent=float(silent["inside"]),
        noted_percent=float(noted["inside"]),
        one_condition_percent=_ends([float(cell["inside"]) for cell in single if int(cell["trials"]) >= smallest]),
        smallest_group=smallest,
        lowest_percent=float(lowest["inside"]),
        lowest=_in_words(lowest["name"]),
        conditions={condition: _ends(values) for condition, values in levels.items()},
        long_memory_min=float(beyond["name"].split()[1]),
        long_memory_percent=float(beyond["inside"]),
    )


_CONDITIONS = {
    "rate_per_h": "a rate of {} per hour",
    "interval_s": "a reading every {} s",
    "memory_s": "a memory of {} s",
    "step": "a display step of {} µg/m³",
    "run_min": "a run of {} min",
    "background": "a background of {} µg/m³",
    "before_smoke": "{}readings before the smoke",
    "start_level": "a start level of {} µg/m³",
    "relative_noise": "relative noise of {}",
}


def _in_words(cell: str) -> str:
    cell = cell.replace("before_smoke 1", "before_smoke ").replace("before_smoke 0", "before_smoke no ")
    parts = (part.split(" ", 1) for part in cell.split(", "))
    return " and ".join(_CONDITIONS[condition].format(level) for condition, level in parts)


def _ends(values: list[float]) -> tuple[float, float]:
    return min(values), max(values)


def two_rates_power() -> TwoRatesPower:
    lines = _lines("two_rates_power")
    terms = re.match(r"([\d.]+) h, ([\d.]+) \+ ([\d.]+) µg/m³, noise ([\d.]+)%", lines[2])
    assert terms is not None
    rows = [re.fullmatch(r"(\S.*?)\s{2,}(\d+)\s+([\d.]+)\s+([\d.]+)\s+[\d.]+", line) for line in lines[4:]]
    found = [(row[1], int(row[2]), float(row[3]), float(row[4])) for row in rows if row]
    detected: dict[int, list[float]] = {}
    for curve, readings, _, percent in found:
        if curve.startswith("two rates"):
            detected.setdefault(readings, []).append(percent)
    return TwoRatesPower(
        run_h=float(terms[1]),
        background=float(terms[2]),
        excess=float(terms[3]),
        noise_percent=float(terms[4]),
        highest_autocorrelation=max(autocorrelation for _, _, autocorrelation, _ in found),
        mistaken_percent=_ends([percent for curve, _, _, percent in found if curve.startswith("one rate")]),
        detected_percent={readings: _ends(percents) for readings, percents in detected.items()},
    )


def joint_ranks() -> JointRanks:
    rows = [
        re.fullmatch(r"\S.*?\s{2,}(\d+)\s+\S.*?\s{2,}([\d.]+)\s+([\d.]+)\s+[\d.]+\s+[\d.]+", line)
        for line in _lines("joint_ranks")
    ]
    found = [(int(row[1]), float(row[2]), float(row[3])) for row in rows if row]
    return JointRanks(
        units=tuple(sorted({one[0] for one in found})),
        order_percent=_ends([one[1] for one in found]),
        ranks_percent=_ends([one[2] for one in found]),
    )


def early_stop() -> EarlyStop:
    lines = _lines("early_stop")
    stopped, fixed = (
        next(cell for cell in _cells(lines) if cell["name"].startswith(begin)) for begin in ("stopped within", "after")
    )
    times = re.match(r"stopped after (\d+) min", next(line for line in lines if line.startswith("stopped after")))
    ahead = re.match(
        r"half-width (\d+) min later over the one expected: [\d.]+ \(10 % below ([\d.]+), 10 % above ([\d.]+)\)",
        next(line for line in lines if line.startswith("half-width")),
    )
    assert times
    assert ahead
    return EarlyStop(
        trials=int(lines[0].rpartition(" ")[2]),
        half_width_percent=float(stopped["name"].split()[2]),
        stopped=int(stopped["trials"]),
        stopped_percent=float(stopped["inside"]),
        median_min=int(times[1]),
        fixed_min=float(fixed["name"].split()[1]),
        fixed_percent=float(fixed["inside"]),
        ahead_min=int(ahead[1]),
        ahead=(float(ahead[2]), float(ahead[3])),
    )


def small_samples() -> SmallSamples:
    lines = _lines("small_samples")
    rates: dict[float, list[float]] = {}
    for line in lines:
        row = re.fullmatch(r"(\S.*?)\s+\d+%\s+([\d.]+)\s+([\d.]+)\s+[\d.]+\s+([\d.]+)\s+\S+\s+\S+", line)
        if row and "no spread" not in row[1]:
            rates.setdefault(float(row[2]), []).extend([float(row[3]), float(row[4])])
    times: dict[float, list[float]] = {}
    for line in lines:
        if row := re.fullmatch(r"\s+\d+\s+(?:any|[\d.]+)\s+([\d.]+)\s+([\d.]+)\s+[\d.]+\s+[\d.]+", line):
            times.setdefault(float(row[1]), []).append(float(row[2]))
    return SmallSamples(
        rates_percent={spread: _ends(found) for spread, found in rates.items()},
        times_percent={spread: _ends(found) for spread, found in times.items()},
    )


def room_drift() -> RoomDrift:
    lines = _lines("room_drift")
    rows = [re.fullmatch(r"(\d.{23})(\S.{21})\s*\d+%((?:\s+[\d.–]+){7})", line) for line in lines]
    found = [(row[2].strip(), row[3].split()) for row in rows if row]
    drifting = [values for drift, values in found if drift.startswith(("rises", "falls", "doubles"))]
    days = re.search(r"drift over (\d+) days", "\n".join(lines))
    assert days is not None
    return RoomDrift(
        days=float(days[1]),
        held_or_noted_percent=_ends([float(value) for values in drifting for value in values[2:4]]),
        flat_percent=_ends([float(values[4]) for values in drifting if values[4] != "–"]),
        steady_percent=_ends([float(value) for drift, values in found if drift == "none" for value in values[:2]]),
    )


_WIDTHS = re.compile(
    r"(?P<name>[a-z1-3 ]+): ratio median ([\d.]+), highest ([\d.]+), above [\d.]+ in (\d+), surely in (\d+); "
    r"held ([\d.]+) %, ([\d.]+) to ([\d.]+) %, outside 93 to 97 % in (\d+), surely in (\d+)"
)


def rate_efficiency() -> RateEfficiency:
    lines = _lines("rate_efficiency")
    required, cells = re.findall(r"without a note on sampling: (\d+) of (\d+)", "\n".join(lines))[0]
    widths = {}
    for found in filter(None, map(_WIDTHS.fullmatch, lines)):
        ratio, highest, above, sure, held, low, high, outside, out = found.groups()[1:]
        counts = (int(above), int(sure), float(held), (float(low), float(high)), int(outside), int(out))
        widths[found["name"]] = IntervalWidths(float(ratio), float(highest), *counts)
    pooled = [float(line[24:].split()[0]) for line in _section(lines, "those cells pooled")]
    taught = next(re.findall(r"known: from (\d+) trials", line)[0] for line in lines if "known: from" in line)
    return RateEfficiency(int(lines[0].split()[-1]), int(taught), int(cells), int(required), _ends(pooled), widths)


def disturbances() -> Disturbances:
    lines = _lines("disturbances")
    start = next(number for number, line in enumerate(lines) if line.startswith("disturbance ")) + 1
    rows = [(line[:34].strip(), line[34:40].strip(), float(line[56:64]), line[84:]) for line in lines[start:]]
    named = [(f"{name} at {float(rate):g} per h ({percent:g} %)", verdict) for name, rate, percent, verdict in rows]
    return Disturbances(
        logs=int(lines[0].split()[-1]),
        rows=len(rows),
        met_percent=_ends([percent for _, _, percent, verdict in rows if verdict in ("met", "missed")]),
        missed=tuple(name for name, verdict in named if verdict == "missed"),
        hidden=tuple(name for name, verdict in named if verdict not in ("met", "missed")),
    )


def control_chart() -> ControlChartStudy:
    """Of the rows with the usual number of reference runs; sizes that 90 % of rooms find."""
    lines = _lines("control_chart")
    numbers = re.match(r"(\d+) rooms in each row; (\d+) runs", lines[2])
    assert numbers is not None
    rows = [line.split() for line in lines[4 : lines.index("", 4)]]
    own = {float(row[1]): row for row in rows if int(row[0]) == REFERENCE_RUNS}
    return ControlChartStudy(
        rooms=int(numbers[1]),
        reference_runs=REFERENCE_RUNS,
        runs=int(numbers[2]),
        found_within={size: int(row[3]) for size, row in own.items() if size and row[3] != "–"},
        false_percent=float(own[0.0][6]),
        false_shift_percent=float(own[0.0][4]),
    )


def unit_on() -> UnitOnFound:
    lines = _section(_lines("unit_on"), "without a mark:")
    every = lines[1].split()
    mixing = [line.split() for line in lines if line.startswith("mixing")]
    return UnitOnFound(
        logs=int(every[1]),
        held_percent=float(every[2]),
        late_min=_ends([float(one[7]) for one in mixing]),
        mixing_min=_ends([float(one[1]) for one in mixing]),
    )


def module_text() -> str:
    """Source of the module that ships, laid out as the formatter lays it out."""
    lines = [
        '"""Figures of the simulation studies; `python -m tests.studies.study_figures` writes this file."""',
        "",
        "from app.compute.study_shapes import (",
        *(f"    {name}," for name in SHAPES),
        ")",
    ]
    for name, figures in (
        ("COVERAGE", decay_coverage()),
        ("EARLY_STOP_STUDY", early_stop()),
        ("POWER", two_rates_power()),
        ("JOINT_RANKS", joint_ranks()),
        ("SMALL_SAMPLES", small_samples()),
        ("ROOM_DRIFT", room_drift()),
        ("EFFICIENCY", rate_efficiency()),
        ("DISTURBANCES", disturbances()),
        ("CONTROL_CHART", control_chart()),
        ("UNIT_ON", unit_on()),
    ):
        lines += ["", f"{name} = {type(figures).__name__}("]
        for field in fields(figures):
            lines += _argument(field.name, getattr(figures, field.name))
        lines.append(")")
    return "\n".join(lines) + "\n"


def _argument(name: str, value: Any) -> list[str]:
    if isinstance(value, dict):
        return [f"    {name}={{", *(line for key, of in value.items() for line in _entry(key, of)), "    },"]
    if isinstance(value, tuple) and value and isinstance(value[0], str):
        return [f"    {name}=(", *(f"        {_literal(one)}," for one in value), "    ),"]
    return [f"    {name}={_literal(value)},"]


def _entry(key: Any, value: Any) -> list[str]:
    if not isinstance(value, IntervalWidths):
        return [f"        {_literal(key)}: {_literal(value)},"]
    inner = (f"            {field.name}={_literal(getattr(value, field.name))}," for field in fields(value))
    return [f"        {_literal(key)}: IntervalWidths(", *inner, "        ),"]


def _literal(value: Any) -> str:
    return f'"{value}"' if isinstance(value, str) else repr(value)


def write_shipped_figures() -> None:
    SHIPPED.write_text(module_text(), encoding="utf-8")


if __name__ == "__main__":
    write_shipped_figures()
