"""Growing curves as a film: what a decoder reads back, and the same bytes for the same chart."""

import builtins
from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from app.errors import InvalidValue
from app.figures.renderers.film import FRAMES_PER_S, FilmFormat, film
from app.figures.renderers.video_frames import LAST_S, seconds_of, video_frame
from tests.figures.some_charts import line_chart

SIZE, SPEED = (640, 360), 3600.0


@pytest.mark.parametrize(("film_format", "codec"), [("mp4", "h264"), ("webm", "vp9")])
def test_a_film_runs_at_its_multiple_of_real_time_and_ends_with_the_chart(film_format: FilmFormat, codec: str):
    av = pytest.importorskip("av", reason="the encoders are an optional extra")
    chart = line_chart()
    made = film(chart, SPEED, "light", SIZE, film_format)
    assert made == film(chart, SPEED, "light", SIZE, film_format)
    with av.open(BytesIO(made)) as container:
        stream = container.streams.video[0]
        frames = [frame.to_ndarray(format="gray").astype(int) for frame in container.decode(stream)]
        assert (stream.codec_context.name, stream.width, stream.height) == (codec, *SIZE)
        assert float(stream.average_rate) == FRAMES_PER_S
    grown = round(seconds_of(chart, SPEED) * FRAMES_PER_S)
    assert len(frames) == grown + 1 + LAST_S * FRAMES_PER_S
    whole = np.asarray(Image.open(BytesIO(video_frame(chart, SIZE, "light"))).convert("L")).astype(int)
    off = [np.abs(frame - whole)[60:, :].mean() for frame in (frames[0], frames[grown // 2], frames[-1])]
    assert off[0] > off[1] > off[2]  # curves grow; the clock above is no part of the chart
    assert off[2] < 2


def test_what_no_film_can_be_is_said(monkeypatch: pytest.MonkeyPatch):
    with pytest.raises(InvalidValue, match=r"A film has no transparent background; choose the look light or dark\."):
        film(line_chart(), SPEED, "transparent", SIZE, "mp4")
    real = builtins.__import__

    def without(name: str, *more, **named):
        if name == "av":
            raise ImportError(name)
        return real(name, *more, **named)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(InvalidValue, match=r"pip install 'hazefall\[film\]'. The same animation as GIF needs nothing"):
        film(line_chart(), SPEED, "light", SIZE, "mp4")
