"""A few charts for the renderer tests, with hostile names."""

from app.figures.chart import Axis, Chart, ReferenceLine, Region, Series

HARMFUL = "<img src=x onerror=alert(1)> & $x_1$ =cmd()"


def line_chart(scale: str = "linear", name: str = "Maker A") -> Chart:
    minutes = tuple(float(m) for m in range(0, 60, 5))
    levels = tuple(5 + 200 * 0.9**m for m in minutes)
    return Chart(
        name="lines",
        title="How fast?",
        subtitle="one room",
        x_axis=Axis("Time", "min", low=0.0, high=55.0),
        y_axis=Axis("PM2.5", "µg/m³", scale, low=1.0 if scale == "log" else 0.0),  # type: ignore[arg-type]
        series=(
            Series(f"{name}, reading", "points", minutes, levels, faint=True),
            Series(
                f"{name}, band",
                "band",
                minutes,
                levels,
                low=tuple(v * 0.9 for v in levels),
                high=tuple(v * 1.1 for v in levels),
            ),
            Series(
                f"{name}, fit",
                "line",
                minutes,
                levels,
                censored=(*(False for _ in minutes[1:]), True),
                end_label=name,
            ),
            Series("Empty room", "line", minutes, tuple(210 - m for m in minutes), colour=None, end_label="Empty room"),
        ),
        alt_text=f"{name} clears fastest,",
        source_line="A bench. Method version 1.",
        reference_lines=(ReferenceLine("y", 10.0, "clear level"), ReferenceLine("x", 2.0, "unit on")),
        regions=(Region(3.0, 40.0, "fit window"),),
        x_column="minutes",
        y_column="level_ug_m3",
    )


def interval_chart() -> Chart:
    names = ("Unit A", "Unit B", HARMFUL)
    return Chart(
        name="intervals",
        title="Which?",
        subtitle="",
        x_axis=Axis("Time to clear", "min", low=0.0),
        y_axis=Axis("", names=names),
        series=(
            Series(
                "time",
                "interval",
                (30.0, 60.0, 140.0),
                names,
                low=(28.0, 55.0, None),
                high=(33.0, 70.0, None),
                censored=(False, False, True),
                hover=("a", "b", HARMFUL),
            ),
        ),
        alt_text="Unit A is first.",
        source_line="A bench.",
        horizontal=True,
    )


def bar_chart() -> Chart:
    names = ("Unit A", "Unit B")
    return Chart(
        name="bars",
        title="What does it cost?",
        subtitle="",
        x_axis=Axis("Cost", "USD", low=0.0),
        y_axis=Axis("", names=names),
        series=(
            Series("energy", "bar", (30.0, 10.0), names),
            Series("filters", "bar", (20.0, 70.0), names, colour=4),
        ),
        alt_text="Unit A costs least.",
        source_line="A bench.",
        horizontal=True,
    )


def step_chart() -> Chart:
    return Chart(
        name="steps",
        title="Price",
        subtitle="",
        x_axis=Axis("Day", "d"),
        y_axis=Axis("Price", "USD"),
        series=(Series("price", "step", (0.0, 10.0, 20.0), (199.0, 179.0, None), in_legend=True),),
        alt_text="The price fell.",
        source_line="A bench.",
    )


ALL = {
    "lines": line_chart(),
    "log": line_chart("log"),
    "harmful": line_chart(name=HARMFUL),
    "intervals": interval_chart(),
    "bars": bar_chart(),
    "steps": step_chart(),
}
