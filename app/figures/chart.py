"""One description of a chart, which every renderer draws: what is plotted, never how.

The browser's drawing, the pictures that are taken away and the table of the plotted data all come from the same
`Chart`, so they cannot disagree. Positions are plain numbers in the unit of their axis, or texts on an axis of names.
"""

from dataclasses import dataclass, field
from datetime import date
from typing import Literal

Kind = Literal["line", "points", "band", "bar", "interval", "step"]
Role = Literal["curve", "reference", "area"]
Position = float | str


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis. `names` makes it an axis of names in that order (top to bottom where it is the vertical one).

    scale : "days" for the x axis where positions are days as `date_axis.day_number` gives them
    low, high : ends in the axis's unit; None lets the data decide
    """

    title: str
    unit_symbol: str = ""
    scale: Literal["linear", "log", "days"] = "linear"
    names: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None

    @property
    def words(self) -> str:
        """Title with its unit, as it stands beside the axis."""
        return f"{self.title} [{self.unit_symbol}]" if self.unit_symbol else self.title


@dataclass(frozen=True, slots=True)
class Series:
    """One series of values.

    kind : line; points; band (between low and high, along x); bar (from the base of its stack);
        interval (a value with low and high, lying along the value axis); step (holds its value to the next x)
    x, y : positions; on a chart of horizontal bars or intervals, y holds the names
    low, high : ends of the interval or band, as long as x, or empty; None where a value has none
    censored : per value, True where the value is a lower bound that was not reached: drawn as an open end
    hover : per value, what the pointer shows, or empty
    colour : index into the palette; None for the neutral ink of references
    dash : index into the line styles
    end_label : name written at the end of the curve, "" for none
    stack : bars of the same stack stand on one another
    faint : drawn lightly, as raw readings are behind their fit
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
    """A labelled straight line across the chart at one value of the x or y axis, such as the clear level.

    before : the label of an upright line stands to its left, so that two close lines keep theirs apart
    """

    axis: Literal["x", "y"]
    at: float
    label: str
    before: bool = False


@dataclass(frozen=True, slots=True)
class Region:
    """A labelled stretch of the x axis, such as the fit window."""

    low: float
    high: float
    label: str


@dataclass(frozen=True, slots=True)
class Annotation:
    """Words at a place of the chart, such as "not cleared within 172 min" at a censored end."""

    x: Position
    y: Position
    words: str


@dataclass(frozen=True, slots=True)
class Chart:
    """A whole chart.

    alt_text : the finding in words and numbers, for those who do not see the picture
    source_line : who measured, where, when, with which method version
    newest : day of the newest datum that is drawn; never today, so that the same data give the same picture
    horizontal : bars and intervals lie along x, their names along y
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
    annotations: tuple[Annotation, ...] = ()
    horizontal: bool = False
    # names of the plotted quantities in the taken table, ending in their unit
    x_column: str = "x"
    y_column: str = "y"
    house: "HouseStyle" = field(default_factory=lambda: HouseStyle())
    newest: date | None = None

    @property
    def is_empty(self) -> bool:
        return not any(series.x for series in self.series)

    @property
    def foot(self) -> str:
        """What stands below every taken picture: the source, and the day of the newest datum."""
        return self.source_line if self.newest is None else f"{self.source_line} Newest datum: {self.newest}."


@dataclass(frozen=True, slots=True)
class HouseStyle:
    """How a publication wants its pictures: font, two colours, its name in the corner. Empty: our own."""

    publication: str = ""
    font: str = ""
    ink: str = ""
    accent: str = ""
