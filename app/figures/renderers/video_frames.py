"""Charts for those who publish film: a picture of 16:9, and decay curves that grow with a clock, as GIF.

The same chart gives the same bytes. An animation is two drawings: a frame shows the one with data up to its moment.
"""

from io import BytesIO
from pathlib import Path
from typing import Any

from app.figures.chart import Chart
from app.figures.layout.chart_layout import WIDTH_PX, chart_layout
from app.figures.palette import INK, PAPER
from app.figures.renderers.matplotlib_chart import png_bytes
from app.figures.renderers.svg_colours import DARK, Look

VIDEO_SIZES = {"video-1080": (1920, 1080), "video-2160": (3840, 2160)}
FRAMES_PER_S = 10
MOST_FRAMES = 240
_LAST_MS = 2000  # the finished picture stays for a while
_COLOURS = 256
_CLOCK_PX = 22


def video_frame(chart: Chart, size: tuple[int, int], look: Look) -> bytes:
    """The chart as large as it fits into a frame, in its middle, as PNG."""
    from PIL import Image  # loaded when used

    scale = min(size[0] / WIDTH_PX, size[1] / chart_layout(chart, WIDTH_PX).height)
    picture = Image.open(BytesIO(png_bytes(chart, WIDTH_PX, scale, look))).convert("RGBA")
    ground = (0, 0, 0, 0) if look == "transparent" else _ground(look)
    frame = Image.new("RGBA", size, ground)
    frame.paste(picture, ((size[0] - picture.width) // 2, (size[1] - picture.height) // 2))
    out = BytesIO()
    frame.save(out, "PNG")
    return out.getvalue()


def is_over_time(chart: Chart) -> bool:
    """Whether time runs along x, so that its curves can grow."""
    return chart.x_axis.unit_symbol == "min" and any(one.kind == "line" for one in chart.series)


def frames_of(chart: Chart, speed: float) -> int:
    """Frames until the last minute at so many times real time."""
    ends = chart_layout(chart, WIDTH_PX).positions.x_ends
    return max(2, round((ends[1] - ends[0]) * 60 / speed * FRAMES_PER_S))


def animation_gif(chart: Chart, speed: float, look: Look, width_px: int = WIDTH_PX) -> bytes:
    """The curves growing at `speed` times real time, with a clock, as GIF."""
    from PIL import Image  # loaded when used

    layout = chart_layout(chart, width_px)
    whole, empty = (
        Image.open(BytesIO(png_bytes(chart, width_px, 1.0, look, with_data=shown))).convert("RGB")
        for shown in (True, False)
    )
    left, top, bottom = (round(one) for one in (layout.plot.x0, layout.plot.y0, layout.plot.y1))
    first, last = layout.positions.x_ends
    frames, count = [], frames_of(chart, speed)
    for number in range(count + 1):
        minute = first + (last - first) * number / count
        frame = empty.copy()
        right = round(layout.positions.x(minute)) + 1
        frame.paste(whole.crop((left, top, right, bottom)), (left, top))
        _draw_clock(frame, f"{minute:.0f} min  ×{speed:g}", (layout.plot.x1 - 8, top + 6), look)
        frames.append(frame.quantize(_COLOURS))  # a palette of its own: a shared one tints the ground
    out = BytesIO()
    times = [1000 // FRAMES_PER_S] * count + [_LAST_MS]
    frames[0].save(out, "GIF", save_all=True, append_images=frames[1:], duration=times, loop=0, optimize=False)
    return out.getvalue()


def _draw_clock(frame: Any, words: str, at: tuple[float, float], look: Look) -> None:
    import matplotlib  # loaded when used
    from PIL import ImageDraw, ImageFont  # loaded when used

    font = ImageFont.truetype(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf", _CLOCK_PX)
    draw = ImageDraw.Draw(frame)
    box = draw.textbbox(at, words, font=font, anchor="ra")
    draw.rectangle((box[0] - 6, box[1] - 4, box[2] + 6, box[3] + 4), fill=_ground(look))
    draw.text(at, words, font=font, anchor="ra", fill=DARK[INK] if look == "dark" else INK)


def _ground(look: Look) -> str:
    return DARK[PAPER] if look == "dark" else PAPER
