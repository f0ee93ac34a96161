"""Query parameters of charts and tables: their OpenAPI descriptions, and the size of a chart on a page."""

from typing import Any

from app.web.forms.typed_form import TypedForm

_LEAST_PX, _MOST_PX = 200, 4000
PAGE_WIDTH_PX, PAGE_HEIGHT_PX = 960, 480

_PARAMETERS = (
    ("setting", "string", "highest, quietest, every, or the name of a setting"),
    ("channel", "string", "channel such as pm2_5"),
    ("aerosol", "string", "smoke, dust or pollen"),
    ("room_id", "integer", "the test room"),
    ("search", "string", "words in maker, model or type"),
    ("kind", "string", "type"),
    ("max_price", "number", "maximum price"),
    ("max_sound_dba", "number", "maximum sound level [dB(A)]"),
    ("room_area_m2", "number", "room area [m²]"),
    ("sort", "string", "column to sort by, as on the page"),
    ("descending", "string", "1 or 0"),
    ("column", "string", "a column, repeatable; ranking table; omit for the default columns"),
    ("units", "string", "metric or us"),
    ("unit", "string", "a unit, or several with commas; decay-overlay, costs, price-history, claims-measured"),
    ("trial", "string", "a trial, or several with commas; decay-overlay, trial-decay, residuals"),
    ("clip", "string", "clips with commas; sound-spectra"),
    ("scale", "string", "linear or log; decay-overlay, trial-decay"),
    ("levels", "string", "share: percent of the start level; decay-overlay"),
    ("empty_room", "string", "no: hide the empty room; decay-overlay"),
    ("tariff_id", "integer", "tariff; costs"),
    ("price_per_kwh", "number", "your own price; costs"),
    ("hours_per_day", "number", "hours of use per day; costs"),
    ("years", "integer", "years; costs"),
    ("setting_id", "string", "settings with commas; comparison"),
    ("unit_id", "string", "units with commas, each at its highest setting; comparison"),
)
_SIZES = (
    ("width_px", "integer", "image width before fineness, 320 to 4000; svg, png and html"),
    ("fineness", "number", "pixel density, 1 to 4; png"),
    ("size", "string", "article, phone, print, video-1080 or video-2160: png; the last two also mp4 and webm"),
    ("look", "string", "page (as the reader's page), light, dark or transparent; svg, png and animations"),
    ("speed", "number", "times real time, default 600; animations of decay-overlay and trial-decay"),
)


def download_parameters(*, with_sizes: bool) -> list[dict[str, Any]]:
    """Query parameters for the schema. Each chart or table uses those of its page and ignores the rest."""
    known = (*_PARAMETERS, *(_SIZES if with_sizes else ()))
    return [
        {"name": name, "in": "query", "required": False, "description": words, "schema": {"type": kind}}
        for name, kind, words in known
    ]


def download_content(media: dict[str, str]) -> dict[int | str, dict[str, Any]]:
    """Response 200 in its media types, and 304."""
    kinds = {kind.partition(";")[0]: {"schema": {"type": "string"}} for kind in media.values()}
    return {
        200: {"description": "The file, with an ETag of its bytes", "content": kinds},
        304: {"description": "Not modified"},
    }


def figure_size(form: TypedForm) -> tuple[int, int]:
    """Width and height [px] of the area that a page reserves for a chart, within what can be drawn."""
    width = form.whole_number("width_px", "The width") or PAGE_WIDTH_PX
    height = form.whole_number("height_px", "The height") or PAGE_HEIGHT_PX
    return min(max(width, _LEAST_PX), _MOST_PX), min(max(height, _LEAST_PX), _MOST_PX)
