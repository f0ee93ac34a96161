"""Reads the query of a URL into the choices of the ranking; page, pictures and tables share it.

An invalid value is noted beside its field and replaced by the default.
"""

from app.compute.clean_air.conversions import M2_PER_SQUARE_FOOT
from app.compute.clean_air.room_need import RULE_CEILING_M
from app.services.snapshot.choices import DEFAULT_ROWS, HIGHEST, RankingChoices
from app.web.forms.typed_form import TypedForm


def ranking_choices(form: TypedForm) -> RankingChoices:
    descending = form.one_of("descending", "The sort direction", ("0", "1"))
    return RankingChoices(
        setting=form.text("setting") or HIGHEST,
        channel=form.text("channel"),
        aerosol=form.text("aerosol") or "smoke",
        room_id=form.whole_number("room_id", "The test room"),
        search=form.text("search"),
        kind=form.text("kind"),
        max_price=form.number("max_price", "The maximum price"),
        max_sound_dba=form.number("max_sound_dba", "The maximum sound level"),
        room_area_m2=area_m2(form),
        room_height_m=or_default(form.number("room_height_m", "The ceiling height"), RULE_CEILING_M),
        room_rule=form.text("room_rule") or "1.55 rule",
        air_changes_per_h=or_default(form.number("air_changes_per_h", "The air changes"), 5.0),
        hours_per_day=form.number("hours_per_day", "The hours per day"),
        price_per_kwh=form.number("price_per_kwh", "The price per kilowatt-hour"),
        sort=form.text("sort") or "clean_air_delivery_rate",
        descending=None if descending == "" else descending == "1",
        limit=form.whole_number("limit", "The number of rows") or DEFAULT_ROWS,
        offset=form.whole_number("offset", "The first row") or 0,
    )


def area_m2(form: TypedForm) -> float | None:
    """Floor area of the room in m², from either field of the form."""
    in_feet = form.number("room_area_ft2", "The room area")
    in_metres = form.number("room_area_m2", "The room area")
    return in_metres if in_feet is None else in_feet * M2_PER_SQUARE_FOOT


def or_default(value: float | None, default: float) -> float:
    """The default for an empty field."""
    return default if value is None else value
