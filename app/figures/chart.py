"""Description of a chart, independent of the renderer: what is plotted, never how.

The interactive chart, the downloaded pictures and the table of plotted data all come from the same
`Chart`, so they cannot disagree. Positions are numbers in the unit of their axis, or texts on a categorical axis.
"""

from dataclasses import dataclass, field, replace
from datetime import date
from typing import Literal

Kind = Literal["line", "points", "band", "bar", "interval", "step"]
Role = Literal["curve", "reference", "area"]
Position = float | str


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis. `names` makes it categorical, in that order (top to bottom if vertical).

    scale : "days" for the x axis where positions are days as `date_axis.day_number` gives them
    low, high : ends in the axis's unit; None: from the data
    """

    title: str
    unit_symbol: str = ""
    scale: Literal["linear", "log", "days"] = "linear"
    names: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None

    @property
    def words(self) -> str:
        """Axis title with its unit."""
        return f"{self.title} [{self.unit_symbol}]" if self.unit_symbol else self.title


@dataclass(frozen=True, slots=True)
class Series:
    """One series of values.

    kind : line; points; band (between low and high, along x); bar (from the base of its stack);
        interval (a value with low and high along the value axis); step (constant to the next x)
    x, y : positions; on a chart of horizontal bars or intervals, y holds the names
    low, high : ends of the interval or band, as long as x, or empty; None where a value has none
    censored : per value, True for a lower bound (censored): drawn with an open end
    hover : per value, the hover text, or empty
    colour : index into the palette; None for the neutral reference colour
    dash : index into the line styles
    end_label : name of the curve or point, written beside it or in the key; "" for none
    stack : bars of the same stack are stacked
    faint : drawn lightly, like raw readings behind their fit
    """

    name: str
    kind: Kind
    x: tuple[Position, ...]
    y: tuple[Position | None, ...]
    low: tuple[float | None, ...] = ()
    high: tuple[float | None, ...] = ()
    censored: tuple[bool, ...] = ()
    hover: tuple[str, ...] = ()
    colour: int | None = 0
    dash: int = 0
    end_label: str = ""
    stack: str = ""
    faint: bool = False
    in_legend: bool = False

    def __post_init__(self) -> None:
        for what in ("y", "low", "high", "censored", "hover"):
            length = len(getattr(self, what))
            if length != len(self.x) and (what == "y" or length):
                raise ValueError(
                    f"Series {self.name!r} has {len(self.x)} x and {length} {what}; both need the same number."
                )


@dataclass(frozen=True, slots=True)
class ReferenceLine:
    """A labelled straight line across the chart at one value of the x or y axis, such as the clear level."""

    axis: Literal["x", "y"]
    at: float
    label: str


@dataclass(frozen=True, slots=True)
class Region:
    """A labelled range of the x axis, such as the fit window."""

    low: float
    high: float
    label: str


@dataclass(frozen=True, slots=True)
class Chart:
    """A whole chart.

    alt_text : the finding in words and numbers, for screen readers
    source_line : who measured, where, when, with which method version
    newest : date of the latest data shown; never today, so that the same data give the same picture
    horizontal : bars and intervals run along x, with names along y
    """

    name: str
    title: str
    subtitle: str
    x_axis: Axis
    y_axis: Axis
    series: tuple[Series, ...]
    alt_text: str
    source_line: str
    reference_lines: tuple[ReferenceLine, ...] = ()
    regions: tuple[Region, ...] = ()
    horizontal: bool = False
    # names of the plotted quantities in the downloaded table, ending in their unit
    x_column: str = "x"
    y_column: str = "y"
    house: "HouseStyle" = field(default_factory=lambda: HouseStyle())
    newest: date | None = None

    @property
    def is_empty(self) -> bool:
        return not any(series.x for series in self.series)

    @property
    def plotted(self) -> tuple[Series, ...]:
        """The series as a table has them: the band of a curve gives its intervals, and is no series of its own."""
        lines = {(one.x, one.colour) for one in self.series if one.kind == "line"}
        bands = {(one.x, one.colour): one for one in self.series if one.kind == "band" and (one.x, one.colour) in lines}
        return tuple(
            replace(one, low=band.low, high=band.high)
            if one.kind == "line" and (band := bands.get((one.x, one.colour))) is not None
            else one
            for one in self.series
            if one is not bands.get((one.x, one.colour))
        )

    @property
    def foot(self) -> str:
        """Line below every downloaded picture: source, and date of the latest data."""
        return self.source_line if self.newest is None else f"{self.source_line} Latest data: {self.newest}."


@dataclass(frozen=True, slots=True)
class HouseStyle:
    """Branding of downloaded charts: font, two colours, name in the corner. Empty: our default."""

    publication: str = ""
    font: str = ""
    ink: str = ""
    accent: str = ""
