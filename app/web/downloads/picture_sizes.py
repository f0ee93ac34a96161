"""Sizes of downloaded pictures by name, for articles, phones, print and film."""

from app.figures.chart import Chart
from app.figures.renderers.matplotlib_chart import png_bytes
from app.figures.renderers.svg_colours import Look
from app.figures.renderers.video_frames import VIDEO_SIZES, video_frame

# width, and pixels for each of it
IMAGE_SIZES = {"article": (960, 2.0), "phone": (390, 3.0), "print": (960, 4.0)}
SIZES = {
    "article": "article",
    "phone": "phone",
    "print": "print",
    "video-1080": "video, 1080p (16:9)",
    "video-2160": "video, 2160p (16:9)",
}


def sized_png(chart: Chart, size: str, look: Look) -> bytes:
    """The chart as PNG in a size of `SIZES`."""
    if size in VIDEO_SIZES:
        return video_frame(chart, VIDEO_SIZES[size], look)
    return png_bytes(chart, *IMAGE_SIZES[size], look)
