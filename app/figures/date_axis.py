"""A date axis: days as numbers, and tick positions with labels."""

from datetime import date

_DAY_STEPS = (1, 2, 5, 10)
_MONTH_STEPS = (1, 2, 3, 6, 12, 24, 60, 120)
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def day_number(day: date) -> float:
    """Position of a date on the axis: days since 1 January of year 1.

    >>> day_of(day_number(date(2026, 7, 2)))
    datetime.date(2026, 7, 2)
    """
    return float(day.toordinal())


def day_of(position: float) -> date:
    """The date at a position."""
    return date.fromordinal(max(1, round(position)))


def date_ticks(low: float, high: float, most: int) -> list[tuple[float, str]]:
    """At most so many ticks between two positions, on the first of months or, on a short axis, on single days.

    >>> date_ticks(day_number(date(2025, 1, 10)), day_number(date(2025, 12, 20)), 4)
    [(739342.0, 'Apr 2025'), (739433.0, 'Jul 2025'), (739525.0, 'Oct 2025')]
    """
    first, last = day_of(low), day_of(high)
    if (last - first).days <= 62:
        return _days(first, last, most)
    for step in _MONTH_STEPS:
        ticks = _months(first, last, step)
        if len(ticks) <= most:
            break
    return ticks


def _days(first: date, last: date, most: int) -> list[tuple[float, str]]:
    span = (last - first).days
    step = next((step for step in _DAY_STEPS if span // step + 1 <= most), max(1, span))
    days = [date.fromordinal(number) for number in range(first.toordinal(), last.toordinal() + 1, step)]
    return [(day_number(day), f"{day.day} {_MONTHS[day.month - 1]} {day.year}") for day in days]


def _months(first: date, last: date, step: int) -> list[tuple[float, str]]:
    numbers = range(12 * first.year, 12 * last.year + 12)
    starts = [date(number // 12, number % 12 + 1, 1) for number in numbers if number % step == 0]
    shown = [day for day in starts if first <= day <= last]
    return [(day_number(day), str(day.year) if step >= 12 else f"{_MONTHS[day.month - 1]} {day.year}") for day in shown]
