"""Growing decay curves as a film, by the encoders of PyAV, which is an optional extra.

One thread and no time or version in the file, so that the same chart gives the same bytes from the same encoder.
"""

from collections.abc import Iterator
from io import BytesIO
from typing import Any

from app.errors import InvalidValue
from app.figures.chart import Chart
from app.figures.renderers.film_formats import FilmFormat
from app.figures.renderers.svg_colours import Look
from app.figures.renderers.video_frames import LAST_S, growing_frames

FRAMES_PER_S = 30
_SAME_BYTES = {"threads": "1", "flags": "+bitexact"}
_ENCODERS: dict[FilmFormat, tuple[str, dict[str, str]]] = {
    "mp4": ("libx264", {"preset": "veryfast", "crf": "20"}),
    "webm": ("libvpx-vp9", {"deadline": "realtime", "cpu-used": "8", "crf": "32", "b": "0", "row-mt": "0"}),
}


def film(chart: Chart, speed: float, look: Look, size: tuple[int, int], film_format: FilmFormat) -> bytes:
    """The curves growing at `speed` times real time, with a clock; H.264 in MP4 or VP9 in WebM.

    Raises InvalidValue where PyAV is not installed, or the ground should be transparent.
    """
    if look == "transparent":
        raise InvalidValue("A film has no transparent background; choose the look light or dark.", field="look")
    av = _library()
    name, options = _ENCODERS[film_format]
    out = BytesIO()
    with av.open(out, "w", format=film_format, container_options={"fflags": "+bitexact"}) as container:
        stream = container.add_stream(
            name, FRAMES_PER_S, options | _SAME_BYTES, width=size[0], height=size[1], pix_fmt="yuv420p"
        )
        for frame in _with_end(growing_frames(chart, speed, look, size, FRAMES_PER_S)):
            container.mux(stream.encode(av.VideoFrame.from_image(frame)))
        container.mux(stream.encode())
    return out.getvalue()


def _library() -> Any:
    try:
        import av  # loaded when used
    except ImportError:
        raise InvalidValue(
            "A film needs the encoders of PyAV, which are not installed: pip install 'hazefall[film]'. The same "
            "animation as GIF needs nothing further."
        ) from None
    return av


def _with_end(frames: Iterator[Any]) -> Iterator[Any]:
    """The frames, and the last one again for a while."""
    frame = None
    for frame in frames:
        yield frame
    for _ in range(LAST_S * FRAMES_PER_S if frame is not None else 0):
        yield frame
