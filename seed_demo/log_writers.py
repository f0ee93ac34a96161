"""Four layouts of log files, one per invented logger: a run in, the bytes of its file out.

The layouts differ as real ones do: delimiter, decimal mark, encoding, preamble, the order of a date, local or
universal time, time of day or elapsed time, units. None copies the format of an existing product.
"""

from collections.abc import Callable
from datetime import UTC
from zoneinfo import ZoneInfo

from seed_demo.logged_run import LoggedRun
from seed_demo.workbook_writer import workbook_bytes

LOCAL_ZONE = "America/Chicago"


def comma_iso(run: LoggedRun) -> bytes:
    """Comma, UTF-8, ISO 8601 with the offset of the zone; two detectors; µg/m³ in steps of 0.1."""
    zone = ZoneInfo(LOCAL_ZONE)
    columns = (
        ("PM1 (µg/m³)", "pm1", 1),
        ("PM2.5 (µg/m³)", "pm2_5", 1),
        ("PM10 (µg/m³)", "pm10", 1),
        ("PM2.5 B (µg/m³)", "pm2_5_b", 1),
        ("Relative humidity (%)", "relative_humidity", 1),
        ("Temperature (°C)", "temperature", 2),
    )
    lines = [",".join(["Time", *(title for title, _, _ in columns)])]
    cells = [run.cells(channel, decimals) for _, channel, decimals in columns]
    for row in run.rows():
        time = run.time(row).astimezone(zone).isoformat(timespec="seconds")
        lines.append(",".join([time, *(column[row] for column in cells)]))
    return _encode(lines, "\n", "utf-8", run)


def semicolon_local(run: LoggedRun) -> bytes:
    """Semicolon, decimal comma, Latin-1, CRLF; day first, local time without a zone, six lines before the header."""
    zone = ZoneInfo(LOCAL_ZONE)
    columns = (
        ("PM1 [µg/m³]", "pm1", 1),
        ("PM2,5 [µg/m³]", "pm2_5", 1),
        ("PM10 [µg/m³]", "pm10", 1),
        ("Rel. humidity [%]", "relative_humidity", 1),
        ("Temperature [°C]", "temperature", 1),
    )
    begin = run.time(0).astimezone(zone)
    lines = [
        "Dust recorder, invented for a demonstration",
        "Serial no.;0000",
        f"Recording begun;{begin:%d.%m.%Y %H:%M:%S}",
        "Averaging [s];" + _interval(run),
        "Clock;local time",
        "",
        ";".join(["Date/time", *(title for title, _, _ in columns)]),
    ]
    cells = [run.cells(channel, decimals) for _, channel, decimals in columns]
    for row in run.rows():
        numbers = ";".join([column[row] for column in cells]).replace(".", ",")
        lines.append(f"{run.time(row).astimezone(zone):%d.%m.%Y %H:%M:%S};{numbers}")
    return _encode(lines, "\r\n", "latin-1", run)


def tab_elapsed(run: LoggedRun) -> bytes:
    """Tab, UTF-8 with byte order mark; seconds since the start, which only the preamble gives, in UTC; whole µg/m³."""
    columns = (
        ("PM1 ug/m3", "pm1", 0),
        ("PM2.5 ug/m3", "pm2_5", 0),
        ("PM10 ug/m3", "pm10", 0),
        ("RH %", "relative_humidity", 0),
        ("Temp C", "temperature", 1),
    )
    lines = [
        "Invented smoke logger",
        f"Start time (UTC)\t{run.started_at.astimezone(UTC):%Y-%m-%d %H:%M:%S}",
        "Inlet\theated",
        f"Sample interval (s)\t{_interval(run)}",
        "",
        "\t".join(["Elapsed time (s)", *(title for title, _, _ in columns)]),
    ]
    cells = [run.cells(channel, decimals) for _, channel, decimals in columns]
    lines += ["\t".join([f"{run.elapsed_s[row]:.0f}", *(column[row] for column in cells)]) for row in run.rows()]
    return _encode(lines, "\n", "utf-8-sig", run)


def workbook_mg(run: LoggedRun) -> bytes:
    """XLSX; date and local time in two columns, mg/m³ in steps of 0.001, °F, and volatile compounds in ppm."""
    zone = ZoneInfo(LOCAL_ZONE)
    columns = (
        ("PM1 (mg/m3)", "pm1", 3, 0.001, 0.0),
        ("PM2.5 (mg/m3)", "pm2_5", 3, 0.001, 0.0),
        ("PM10 (mg/m3)", "pm10", 3, 0.001, 0.0),
        ("VOC (ppm)", "voc", 2, 1.0, 0.0),
        ("RH (%)", "relative_humidity", 1, 1.0, 0.0),
        ("Temperature (F)", "temperature", 1, 1.8, 32.0),
    )
    rows: list[list[str | float]] = [["Date", "Time", *(title for title, *_ in columns)]]
    cells = [run.cells(channel, decimals, factor, offset) for _, channel, decimals, factor, offset in columns]
    for row in run.rows():
        date, time = run.time(row).astimezone(zone).isoformat(" ", "seconds")[:19].split()
        rows.append([date, time, *(_number(column[row]) for column in cells)])
    return workbook_bytes("Log", rows)


LAYOUTS: dict[str, tuple[Callable[[LoggedRun], bytes], str]] = {
    "comma, ISO time with offset": (comma_iso, "csv"),
    "semicolon, decimal comma, local time": (semicolon_local, "txt"),
    "tab, elapsed seconds": (tab_elapsed, "tsv"),
    "workbook, mg/m³ and °F": (workbook_mg, "xlsx"),
}


def _interval(run: LoggedRun) -> str:
    return f"{run.elapsed_s[1] - run.elapsed_s[0]:.0f}"


def _encode(lines: list[str], line_end: str, encoding: str, run: LoggedRun) -> bytes:
    if run.last_row_cut:
        return line_end.join([*lines[:-1], lines[-1][: len(lines[-1]) // 2]]).encode(encoding)
    return (line_end.join(lines) + line_end).encode(encoding)


def _number(text: str) -> str | float:
    try:
        return float(text)
    except ValueError:
        return text
