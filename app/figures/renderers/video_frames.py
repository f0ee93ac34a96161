"""Charts for those who publish film: a picture of 16:9, and decay curves that grow with a clock.

The same chart gives the same frames. An animation is two drawings: a frame shows the one with data up to its moment.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

from app.figures.chart import Chart
from app.figures.layout.chart_layout import WIDTH_PX, chart_layout
from app.figures.palette import INK, PAPER
from app.figures.renderers.matplotlib_chart import png_bytes
from app.figures.renderers.svg_colours import DARK, Look

VIDEO_SIZES = {"video-1080": (1920, 1080), "video-2160": (3840, 2160)}
GIF_FRAMES_PER_S = 10
LONGEST_S = 24
LAST_S = 2  # the finished picture stays for a while
_COLOURS = 256
_CLOCK_PX = 22


def video_frame(chart: Chart, size: tuple[int, int], look: Look) -> bytes:
    """The chart as large as it fits into a frame, in its middle, as PNG."""
    out = BytesIO()
    _framed(chart, size, look).save(out, "PNG")
    return out.getvalue()


def _framed(chart: Chart, size: tuple[int, int], look: Look, *, with_data: bool = True) -> Any:
    from PIL import Image  # loaded when used

    place = _place(chart, size)
    picture = Image.open(BytesIO(png_bytes(chart, WIDTH_PX, place.scale, look, with_data=with_data))).convert("RGBA")
    ground = (0, 0, 0, 0) if look == "transparent" else _ground(look)
    frame = Image.new("RGBA", size, ground)
    frame.paste(picture, (place.left, place.top))
    return frame


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a chart lies in a frame, and pixels of the frame for each of its own."""

    scale: float
    left: int
    top: int


def _place(chart: Chart, size: tuple[int, int]) -> _Place:
    height = round(chart_layout(chart, WIDTH_PX).height)
    scale = min(size[0] / WIDTH_PX, size[1] / height)
    return _Place(scale, (size[0] - round(WIDTH_PX * scale)) // 2, (size[1] - round(height * scale)) // 2)


def is_over_time(chart: Chart) -> bool:
    """Whether time runs along x, so that its curves can grow."""
    return chart.x_axis.unit_symbol == "min" and any(one.kind == "line" for one in chart.series)


def seconds_of(chart: Chart, speed: float) -> float:
    """Until the last minute, at so many times real time."""
    ends = chart_layout(chart, WIDTH_PX).positions.x_ends
    return (ends[1] - ends[0]) * 60 / speed


def growing_frames(chart: Chart, speed: float, look: Look, size: tuple[int, int], frames_per_s: int) -> Iterator[Any]:
    """The frames of the curves growing at `speed` times real time, with a clock; the last one is the whole picture."""
    layout, place = chart_layout(chart, WIDTH_PX), _place(chart, size)
    whole, empty = (_framed(chart, size, look, with_data=shown).convert("RGB") for shown in (True, False))

    def at(x: float, y: float) -> tuple[int, int]:
        return place.left + round(place.scale * x), place.top + round(place.scale * y)

    left, top = at(layout.plot.x0, layout.plot.y0)
    bottom = at(0, layout.plot.y1)[1]
    first, last = layout.positions.x_ends
    count = max(2, round(seconds_of(chart, speed) * frames_per_s))
    for number in range(count + 1):
        minute = first + (last - first) * number / count
        frame = empty.copy()
        right = at(layout.positions.x(minute), 0)[0] + 1
        frame.paste(whole.crop((left, top, right, bottom)), (left, top))
        corner = at(layout.plot.x1 - 8, layout.plot.y0 + 6)
        _draw_clock(frame, f"{minute:.0f} min  ×{speed:g}", corner, place.scale, look)
        yield frame


def animation_gif(chart: Chart, speed: float, look: Look) -> bytes:
    """The growing curves as GIF; the same chart gives the same bytes."""
    size = WIDTH_PX, round(chart_layout(chart, WIDTH_PX).height)
    # a palette for each frame: a shared one tints the ground
    frames = [frame.quantize(_COLOURS) for frame in growing_frames(chart, speed, look, size, GIF_FRAMES_PER_S)]
    times = [1000 // GIF_FRAMES_PER_S] * (len(frames) - 1) + [1000 * LAST_S]
    out = BytesIO()
    frames[0].save(out, "GIF", save_all=True, append_images=frames[1:], duration=times, loop=0, optimize=False)
    return out.getvalue()


def _draw_clock(frame: Any, words: str, at: tuple[float, float], scale: float, look: Look) -> None:
    import matplotlib  # loaded when used
    from PIL import ImageDraw, ImageFont  # loaded when used

    path = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf"
    font = ImageFont.truetype(path, _CLOCK_PX * scale)
    draw = ImageDraw.Draw(frame)
    box = draw.textbbox(at, words, font=font, anchor="ra")
    across, down = 6 * scale, 4 * scale
    draw.rectangle((box[0] - across, box[1] - down, box[2] + across, box[3] + down), fill=_ground(look))
    draw.text(at, words, font=font, anchor="ra", fill=DARK[INK] if look == "dark" else INK)


def _ground(look: Look) -> str:
    return DARK[PAPER] if look == "dark" else PAPER
