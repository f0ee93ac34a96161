"""Pictures of 16:9, looks, and curves that grow with a clock."""

from io import BytesIO

import numpy as np
import pytest
from PIL import Image

from app.figures.layout.chart_layout import WIDTH_PX, chart_layout
from app.figures.palette import PAPER
from app.figures.renderers.matplotlib_chart import png_bytes
from app.figures.renderers.svg_chart import svg_bytes
from app.figures.renderers.svg_colours import DARK, dark_partners
from app.figures.renderers.video_frames import GIF_FRAMES_PER_S, animation_gif, is_over_time, seconds_of, video_frame
from tests.figures.some_charts import bar_chart, line_chart


def _rgb(colour: str) -> tuple[int, ...]:
    return tuple(int(colour[place : place + 2], 16) for place in (1, 3, 5))


@pytest.mark.parametrize("size", [(1920, 1080), (640, 360)])
def test_a_picture_for_film_fills_its_frame_without_distortion(size: tuple[int, int]):
    frame = Image.open(BytesIO(video_frame(line_chart(), size, "dark"))).convert("RGB")
    assert frame.size == size
    assert frame.getpixel((0, 0)) == _rgb(DARK[PAPER])
    clear = Image.open(BytesIO(video_frame(line_chart(), size, "transparent")))
    drawn = clear.getbbox()
    assert clear.getpixel((0, 0))[3] == 0
    assert drawn is not None
    assert drawn[2] - drawn[0] > 0.5 * size[0]
    assert drawn[3] - drawn[1] > 0.8 * size[1]


def test_looks_change_the_ground_and_the_ink_of_both_formats():
    """In the dark no light colour is left; on transparent ground nothing is painted behind."""
    chart = line_chart()
    light, dark = (svg_bytes(chart, look=look).decode() for look in ("light", "dark"))
    assert "<style>" not in light + dark
    for colour, partner in dark_partners(chart.house).items():
        assert f'="{colour}"' not in dark
        assert (f'="{colour}"' in light) == (f'="{partner}"' in dark)
    assert f'fill="{PAPER}"' not in svg_bytes(chart, look="transparent").decode()
    looks = ("light", "dark", "transparent")
    drawn = [np.asarray(Image.open(BytesIO(png_bytes(chart, look=look))).convert("RGBA")) for look in looks]
    assert tuple(drawn[0][0, 0]) == (255, 255, 255, 255)
    assert tuple(drawn[1][0, 0][:3]) == _rgb(DARK[PAPER])
    assert drawn[2][0, 0][3] == 0
    # the same parts are inked; edges may differ a little
    inked = [np.abs(one[:, :, :3].astype(int) - one[0, 0, :3]).max(axis=2) > 60 for one in drawn[:2]]
    assert (inked[0] != inked[1]).mean() < 0.03
    assert inked[0].mean() > 0.005


def test_curves_grow_with_the_clock_and_end_as_the_picture():
    chart, speed = line_chart(), 3600.0
    made = animation_gif(chart, speed, "light")
    assert made == animation_gif(chart, speed, "light")
    film = Image.open(BytesIO(made))
    assert film.n_frames == round(seconds_of(chart, speed) * GIF_FRAMES_PER_S) + 1
    layout = chart_layout(chart, WIDTH_PX)
    top, bottom = round(layout.plot.y0) + 40, round(layout.plot.y1) - 2  # below the clock
    whole, empty = (
        np.asarray(Image.open(BytesIO(png_bytes(chart, with_data=shown))).convert("L")).astype(int)
        for shown in (True, False)
    )
    for number in (0, film.n_frames // 2, film.n_frames - 1):
        film.seek(number)
        shown = np.asarray(film.convert("L")).astype(int)
        minute = layout.positions.x_ends[1] * number / (film.n_frames - 1)
        at = round(layout.positions.x(minute)) + 1
        assert np.abs(shown - whole)[top:bottom, :at].mean() < 1
        assert np.abs(shown - empty)[top:bottom, at:].mean() < 1
    left, right = round(layout.plot.x0), round(layout.plot.x1)
    assert np.abs(whole - empty)[top:bottom, left:right].mean() > 2  # so the two are told apart


def test_only_curves_over_time_grow():
    assert is_over_time(line_chart())
    assert not is_over_time(bar_chart())
