"""Reads the query of a URL into the choices of each service; pages, charts and tables share it.

An invalid value is noted beside its field and replaced by the default. The choices of the ranking are in
`ranking_form`, so that the first page loads only that.
"""

from sqlalchemy.orm import Session

from app.errors import HazefallError
from app.services.costs.choices import DEFAULT_YEARS, SETTING_CHOICES, OwningChoices
from app.services.costs.running_cost import COST_SORTS, CostChoices
from app.services.ranking.room_advice import RoomChoices
from app.services.snapshot.choices import HIGHEST, RankingChoices
from app.services.trials.decay_curves import CurveChoices
from app.services.units.speed_settings import units_of_settings
from app.web.forms.ranking_form import area_m2, or_default
from app.web.forms.typed_form import TypedForm


def curve_choices(form: TypedForm) -> CurveChoices:
    return CurveChoices(
        trial_ids=_numbers(form, "trial", "A trial"),
        unit_ids=_numbers(form, "unit", "A unit"),
        channel=form.text("channel"),
        setting=form.text("setting") or HIGHEST,
        room_id=form.whole_number("room_id", "The test room"),
        normalised=form.one_of("levels", "The level unit", ("share",)) == "share",
        scale=form.text("scale") or "linear",
        with_empty_room=form.one_of("empty_room", "The curve of the empty room", ("yes", "no")) != "no",
    )


def with_units_of_settings(session: Session, form: TypedForm) -> TypedForm:
    """The form with `setting_id`, as the rows of the ranking are selected, replaced by the units of those settings."""
    asked = _numbers(form, "setting_id", "A setting")
    if form.values.pop("setting_id", None) is not None:
        form.values.setdefault("unit", []).extend(str(unit) for unit in units_of_settings(session, asked))
    return form


def compare_choices(form: TypedForm) -> RankingChoices:
    return RankingChoices(
        channel=form.text("channel"),
        aerosol=form.text("aerosol") or "smoke",
        room_id=form.whole_number("room_id", "The test room"),
    )


def compared_setting_ids(session: Session, form: TypedForm) -> tuple[int, ...]:
    """The requested settings, those in `first` first; a unit id means its highest setting."""
    from app.services.ranking.comparison import highest_settings  # loaded when used: it needs scipy

    asked = list(_numbers(form, "setting_id", "A setting"))
    units = _numbers(form, "unit_id", "A unit")
    if units:
        try:
            asked += [setting_id for setting_id in highest_settings(session, units) if setting_id not in asked]
        except HazefallError as error:
            form.add_error("unit_id", error.message)
    first = form.whole_number("first", "The baseline setting")
    if first in asked:
        asked = [first, *(setting_id for setting_id in asked if setting_id != first)]
    return tuple(asked)


def cost_choices(form: TypedForm) -> CostChoices:
    return CostChoices(
        owning=OwningChoices(
            unit_ids=_numbers(form, "unit", "A unit"),
            setting=form.text("setting") or SETTING_CHOICES[0],
            room_area_m2=area_m2(form),
            tariff_id=form.whole_number("tariff_id", "The tariff"),
            price_per_kwh=form.number("price_per_kwh", "The price per kilowatt-hour"),
            hours_per_day=form.number("hours_per_day", "The hours per day"),
            quiet_hours_per_day=or_default(
                form.number("quiet_hours_per_day", "The hours at the quietest setting"), 0.0
            ),
            days_per_year=form.number("days_per_year", "The days of use"),
            years=DEFAULT_YEARS if (years := form.whole_number("years", "The years")) is None else years,
            discount_rate_pct=or_default(form.number("discount_rate_pct", "The discount rate"), 0.0),
            unplugged_when_off=form.ticked("unplugged"),
            compare=_numbers(form, "compare", "A unit to compare"),
        ),
        kind=form.text("kind"),
        search=form.text("search"),
        sort=form.text("sort") or COST_SORTS[0],
        descending=form.one_of("descending", "The sort direction", ("0", "1")) == "1",
    )


def room_choices(form: TypedForm) -> RoomChoices:
    """An empty sound limit or budget means no limit; a new page has the default sound limit."""
    area, sound = area_m2(form), form.number("max_sound_dba", "The maximum sound level")
    usual = RoomChoices()
    return RoomChoices(
        room_area_m2=or_default(area, usual.room_area_m2),
        max_sound_dba=sound if form.values else usual.max_sound_dba,
        max_price=form.number("max_price", "The maximum price"),
        room_height_m=or_default(form.number("room_height_m", "The ceiling height"), usual.room_height_m),
        rule=form.text("room_rule") or usual.rule,
        air_changes_per_h=or_default(form.number("air_changes_per_h", "The air changes"), usual.air_changes_per_h),
    )


def chosen_units(form: TypedForm) -> tuple[int, ...]:
    return _numbers(form, "unit", "A unit")


def chosen_clips(form: TypedForm) -> tuple[int, ...]:
    return _numbers(form, "clip", "A clip")


def _numbers(form: TypedForm, name: str, what: str) -> tuple[int, ...]:
    """All values of a field that may be repeated or given as a comma-separated list."""
    found = []
    for text in ",".join(form.values.get(name, [])).split(","):
        if not text.strip():
            continue
        if not text.strip().isdecimal() or len(text.strip()) > 12:
            form.add_error(name, f"{what}: found {text[:40]!r}; enter a whole number. Correct the URL.")
            continue
        found.append(int(text))
    return tuple(found)
