"""Converts positions on a date axis to dates for Plotly."""

from datetime import datetime, timedelta
from typing import Any

_FORMATS = [
    {"dtickrange": [None, "M1"], "value": "%-d %b %Y"},
    {"dtickrange": ["M1", "M12"], "value": "%b %Y"},
    {"dtickrange": ["M12", None], "value": "%Y"},
]


def with_days(traces: list[dict[str, Any]], layout: dict[str, Any]) -> None:
    """Converts everything along the x axis: values, range, shapes and annotations."""
    for trace in traces:
        trace["x"] = [_day(value) for value in trace["x"]]
    low, high = layout["xaxis"]["range"]
    layout["xaxis"] |= {"type": "date", "range": [_day(low), _day(high)], "nticks": 6, "tickformatstops": _FORMATS}
    for shape in layout["shapes"]:
        if shape.get("xref") != "paper":
            shape["x0"], shape["x1"] = _day(shape["x0"]), _day(shape["x1"])
    for note in layout["annotations"]:
        if note.get("xref") != "paper":
            note["x"] = _day(note["x"])
            if "ax" in note:
                note["ax"] = _day(note["ax"])


def _day(position: Any) -> Any:
    """A position, possibly between two days, in Plotly's date format."""
    if position is None:
        return None
    whole = int(position)
    moment = datetime.fromordinal(whole) + timedelta(days=position - whole)
    return moment.isoformat(timespec="minutes") if moment.hour or moment.minute else moment.date().isoformat()
