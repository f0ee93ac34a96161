"""Charts of checks of loggers: logger against reference, their difference over time, and the record over years."""

from datetime import date

from app.compute.wording.numbers import counted, measured_text
from app.figures.chart import Axis, Chart, ReferenceLine, Series
from app.figures.charts.house_style import house_style
from app.figures.date_axis import day_number
from app.reading_files.headers.channels import channel
from app.services.bench.chart_facts import ChartFacts
from app.services.logs.logger_checks.drawing import DrawnCheck
from app.services.logs.logger_checks.record import LoggerRecord


def logger_scatter_chart(drawn: DrawnCheck, facts: ChartFacts) -> Chart:
    """Means of the logger against those of the reference, with the fitted line and the line of equality."""
    check = drawn.check
    name, reference = check.logger.name, check.reference_logger.name if check.reference_logger else ""
    top = max((*drawn.reference, *drawn.other))
    low, high = min(drawn.reference), max(drawn.reference)
    slope, intercept = check.slope or 0.0, check.intercept or 0.0
    return Chart(
        name="logger-scatter",
        title=check_title(drawn),
        subtitle=f"{channel(check.channel).label}, {means_words(drawn)}, {check.checked_on.isoformat()}",
        x_axis=Axis(reference, check.unit, low=0.0, high=1.05 * top),
        y_axis=Axis(name, check.unit, low=min(0.0, *drawn.other), high=1.05 * top),
        series=(
            Series("means", "points", drawn.reference, drawn.other, colour=0, faint=True),
            Series("equal readings", "line", (0.0, top), (0.0, top), colour=None, dash=1, end_label="equal readings"),
            Series(
                "fitted line",
                "line",
                (low, high),
                (intercept + slope * low, intercept + slope * high),
                colour=0,
                end_label="fitted line",
            ),
        ),
        alt_text=check_words(drawn),
        source_line=facts.source_line(f"Check {check.id}"),
        x_column="reference_level",
        y_column="logger_level",
        house=house_style(facts),
    )


def logger_difference_chart(drawn: DrawnCheck, facts: ChartFacts) -> Chart:
    """Logger minus reference over time."""
    check = drawn.check
    differences = tuple(b - a for a, b in zip(drawn.reference, drawn.other, strict=True))
    reach = 1.1 * max((abs(value) for value in differences), default=1.0) or 1.0
    name, reference = check.logger.name, check.reference_logger.name if check.reference_logger else ""
    mean = sum(differences) / len(differences)
    words = (
        f"{name} minus {reference}: {_signed(mean, check.unit)} on average, "
        f"from {_signed(min(differences), check.unit)} to {_signed(max(differences), check.unit)}"
    )
    return Chart(
        name="logger-difference",
        title=words,
        subtitle=f"{channel(check.channel).label}, {means_words(drawn)}, clocks aligned",
        x_axis=Axis("Time", "min", low=0.0, high=max(drawn.minutes)),
        y_axis=Axis("Difference", check.unit, low=-reach, high=reach),
        series=(Series("difference", "points", drawn.minutes, differences, colour=0),),
        alt_text=f"{words}.",
        source_line=facts.source_line(f"Check {check.id}"),
        reference_lines=(ReferenceLine("y", 0.0, ""),),
        x_column="minutes",
        y_column="difference",
        house=house_style(facts),
    )


def logger_record_chart(record: LoggerRecord, facts: ChartFacts, quantity: str) -> Chart:
    """Slope or intercept of a logger with 95 % intervals against the date of the check; `quantity` is its name."""
    checks = [check for check in record.checks if getattr(check, quantity) is not None]
    unit = checks[-1].unit if checks and quantity == "intercept" else ""
    days = tuple(day_number(check.checked_on) for check in checks)
    values = tuple(float(getattr(check, quantity)) for check in checks)
    first, last = (min(days), max(days)) if days else (day_number(date(2026, 1, 1)),) * 2
    air = max(20.0, 0.05 * (last - first))
    equal = 1.0 if quantity == "slope" else 0.0
    ends = [float(getattr(check, f"{quantity}{end}")) for check in checks for end in ("_low_95", "_high_95")]
    least, most = min([equal, *ends]), max([equal, *ends])
    margin = 0.1 * (most - least) or 0.1
    return Chart(
        name="logger-record",
        title=record_words(record, quantity),
        subtitle=f"{quantity.capitalize()} against the reference logger, with 95 % intervals",
        x_axis=Axis("Day", scale="days", low=first - air, high=last + air),
        y_axis=Axis(quantity.capitalize(), unit, low=least - margin, high=most + margin),
        series=(
            Series(
                quantity,
                "interval",
                days,
                values,
                low=tuple(float(getattr(check, f"{quantity}_low_95")) for check in checks),
                high=tuple(float(getattr(check, f"{quantity}_high_95")) for check in checks),
                hover=tuple(
                    f"{check.checked_on.isoformat()} beside "
                    f"{check.reference_logger.name if check.reference_logger else '–'}: "
                    f"{quantity_words(check, quantity)}"
                    for check in checks
                ),
                colour=0,
            ),
        ),
        alt_text=f"{record_words(record, quantity)}.",
        source_line=facts.source_line(counted(len(checks), "check")),
        reference_lines=(ReferenceLine("y", equal, "as the reference"),),
        x_column="day",
        y_column=quantity,
        house=house_style(facts),
    )


def quantity_words(check: object, quantity: str) -> str:
    """Value and 95 % interval of a stored quantity of a check."""
    parts = [getattr(check, f"{quantity}{ending}") for ending in ("", "_uncertainty", "_low_95", "_high_95")]
    return "–" if parts[0] is None else measured_text(*parts).with_interval


def check_title(drawn: DrawnCheck) -> str:
    check = drawn.check
    return f"{check.logger.name}: slope {quantity_words(check, 'slope')}"


def check_words(drawn: DrawnCheck) -> str:
    """Slope and intercept with their intervals, in a sentence."""
    check = drawn.check
    reference = check.reference_logger.name if check.reference_logger else ""
    return (
        f"{check.logger.name} against {reference}: slope {quantity_words(check, 'slope')}, intercept "
        f"{quantity_words(check, 'intercept')} {check.unit}."
    )


def means_words(drawn: DrawnCheck) -> str:
    return f"{counted(len(drawn.minutes), 'mean')} of {drawn.check.averaging_s or 0.0:.0f} s"


def record_words(record: LoggerRecord, quantity: str) -> str:
    """The latest value, and the one of the first check where there is another."""
    checks = [check for check in record.checks if getattr(check, quantity) is not None]
    if not checks:
        return f"{record.logger.name} has no {quantity} yet"
    unit = f" {checks[-1].unit}" if quantity == "intercept" else ""
    words = f"{record.logger.name}: {quantity} {quantity_words(checks[-1], quantity)}{unit}"
    if len(checks) == 1:
        return f"{words} on {checks[0].checked_on.isoformat()}"
    return f"{words}, after {quantity_words(checks[0], quantity)} on {checks[0].checked_on.isoformat()}"


def _signed(value: float, unit: str) -> str:
    return f"{value:+.1f} {unit}".replace("-", "−")
