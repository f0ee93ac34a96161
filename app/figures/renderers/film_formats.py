"""Formats of films of growing curves, as far as their encoders are installed."""

from importlib.util import find_spec
from typing import Literal, get_args

FilmFormat = Literal["mp4", "webm"]


def film_formats() -> tuple[FilmFormat, ...]:
    """What can be made here: nothing without PyAV, the optional extra "film"."""
    return get_args(FilmFormat) if find_spec("av") else ()
