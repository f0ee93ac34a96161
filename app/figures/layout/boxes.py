"""What a layout consists of, in pixels from the top left corner: boxes, texts, leader lines, samples of the key."""

from dataclasses import dataclass
from typing import Literal

from app.figures.chart import Series

Align = Literal["left", "center", "right"]
LINE_HEIGHT = 1.25  # of the font size
LABEL_PX, SMALL_PX = 13.0, 12.0


@dataclass(frozen=True, slots=True)
class Box:
    x0: float
    y0: float
    x1: float
    y1: float

    @property
    def width(self) -> float:
        return self.x1 - self.x0

    @property
    def height(self) -> float:
        return self.y1 - self.y0

    def overlaps(self, other: "Box", gap: float = 0.0) -> bool:
        beside = self.x0 < other.x1 + gap and other.x0 < self.x1 + gap
        return beside and self.y0 < other.y1 + gap and other.y0 < self.y1 + gap


@dataclass(frozen=True, slots=True)
class PlacedText:
    """One text with its box. `at_data` is the point of the chart that it belongs to, so that it moves along on zoom.

    kind : what it is: title, subtitle, foot, corner, axis, tick, mark, level, end, number, key
    """

    kind: str
    lines: tuple[str, ...]
    box: Box
    align: Align = "left"
    size: float = LABEL_PX
    bold: bool = False
    faded: bool = False
    series: Series | None = None
    at_data: tuple[float, float] | None = None

    @property
    def anchor(self) -> tuple[float, float]:
        """The point that stays if the text is wider or narrower in another font."""
        x = {"left": self.box.x0, "center": (self.box.x0 + self.box.x1) / 2, "right": self.box.x1}[self.align]
        return x, (self.box.y0 + self.box.y1) / 2


@dataclass(frozen=True, slots=True)
class Leader:
    """A thin line from the end of a curve (x0, y0) to its label (x1, y1), or from a mark to its words."""

    x0: float
    y0: float
    x1: float
    y1: float
    series: Series | None = None


@dataclass(frozen=True, slots=True)
class KeySample:
    """The sample of a series before its name in the key."""

    box: Box
    series: Series | None  # None: the dotted line of a level
