"""The values of a published chart for its readers' pointer: what was measured, with its intervals."""

from typing import Any

import orjson
from markupsafe import Markup

from app.figures.axis_range import axis_range
from app.figures.chart import Chart, Series

_MOST = 48  # values of a curve; what lies between them is read from the picture


def chart_values(chart: Chart) -> Markup:
    """JSON that cannot end its script element: both axes, and the series but for single readings."""
    facts = {
        "x": _axis(chart, "x"),
        "y": _axis(chart, "y"),
        "series": [_series(one) for one in chart.plotted if one.x and not one.faint and one.kind != "band"],
    }
    text = orjson.dumps(facts).decode()
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def _axis(chart: Chart, which: Any) -> dict[str, Any]:
    axis = chart.x_axis if which == "x" else chart.y_axis
    low, high = axis_range(chart, which)
    unit = "" if axis.scale == "days" else axis.unit_symbol
    return {"words": axis.title, "unit": unit, "scale": axis.scale, "low": low, "high": high, "names": axis.names}


def _series(series: Series) -> dict[str, Any]:
    """A thinned series."""
    step = -(-len(series.x) // _MOST)
    found: dict[str, Any] = {"name": series.end_label or series.name, "kind": series.kind, "stack": series.stack}
    for key, values in (("x", series.x), ("y", series.y), ("low", series.low), ("high", series.high)):
        found[key] = [_shown(value) for value in values[::step]]
    found["bound"] = [int(one) for one in series.censored[::step]] if any(series.censored) else []
    return found


def _shown(value: Any) -> Any:
    """A number to four digits; a name as it is."""
    return float(f"{value:.4g}") if isinstance(value, int | float) else value
