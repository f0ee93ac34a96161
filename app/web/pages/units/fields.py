"""The fields of the unit form: read off the form, and carried into the store section by section."""

from datetime import date

from sqlalchemy.orm import Session

from app.services.units.consumables import NewConsumable, add_consumable, add_consumable_price, say_none_needed
from app.services.units.entry import NewUnit, add_setting
from app.services.units.lists import unit_with_parts
from app.services.units.prices import add_price
from app.services.units.speed_settings import choose_highest, rename_setting, settings_of
from app.web.forms.typed_form import TypedForm, empty_form


def facts_of(form: TypedForm) -> NewUnit:
    """What is known of the machine itself. The state of its consumables follows from their own section."""
    return NewUnit(
        maker=form.needed_text("maker", "The maker"),
        model=form.needed_text("model", "The model"),
        kind=form.typed("kind", "other"),
        makes_ozone=form.ticked("makes_ozone"),
        width_mm=form.number("width_mm", "The width"),
        depth_mm=form.number("depth_mm", "The depth"),
        height_mm=form.number("height_mm", "The height"),
        mass_kg=form.number("mass_kg", "The mass"),
        bought_on=form.day("bought_on", "The day of purchase"),
        bought_from=form.text("bought_from"),
        serial_number=form.text("serial_number"),
        notes=form.text("notes"),
    )


def form_of_unit(session: Session, unit_id: int, currency: str) -> TypedForm:
    """The form filled with a unit as it is."""
    unit = unit_with_parts(session, unit_id)
    highest = next((setting.id for setting in unit.settings if setting.is_highest), None)
    return empty_form(
        maker=unit.maker,
        model=unit.model,
        kind=unit.kind,
        makes_ozone=unit.makes_ozone,
        width_mm=unit.width_mm,
        depth_mm=unit.depth_mm,
        height_mm=unit.height_mm,
        mass_kg=unit.mass_kg,
        bought_on=unit.bought_on,
        bought_from=unit.bought_from,
        serial_number=unit.serial_number,
        notes=unit.notes,
        highest_setting=highest,
        currency=currency,
        consumable_currency=currency,
        none_needed=unit.consumables_state == "none needed",
        **{f"setting_{setting.id}": setting.name for setting in unit.settings},
    )


def read_numbers(form: TypedForm) -> None:
    """Reads every number and date of the parts once, so that all mistakes show at the same time."""
    for name, what in (
        ("price", "The price"),
        ("life_months", "The life in months"),
        ("life_running_hours", "The life in running hours"),
        ("consumable_price", "The price of a pack"),
    ):
        form.number(name, what)
    for name, what in (("pieces_in_use", "The pieces in use"), ("pack_size", "The pieces in a pack")):
        form.whole_number(name, what)
    for name in ("price_seen_on", "consumable_price_seen_on"):
        form.day(name, "The day on which the price was seen")


def save_parts(session: Session, unit_id: int, form: TypedForm, who: str) -> None:
    """Stores settings, price and consumables of the form; sections left empty are passed over."""
    _save_settings(session, unit_id, form, who)
    if form.text("price"):
        add_price(
            session,
            unit_id,
            form.number("price", "The price"),
            form.text("currency"),
            _seen_date(form, "price_seen_on"),
            form.text("price_source"),
            who=who,
        )
    _save_consumables(session, unit_id, form, who)


def _save_settings(session: Session, unit_id: int, form: TypedForm, who: str) -> None:
    present = settings_of(session, unit_id)
    for setting in present:
        field = f"setting_{setting.id}"
        if field in form.values:
            rename_setting(session, setting.id, form.text(field), field=field, who=who)
    added = [add_setting(session, unit_id, name, who=who) for name in _lines(form, "new_settings")]
    chosen = form.text("highest_setting")
    if chosen.isdecimal():
        choose_highest(session, unit_id, int(chosen), who=who)
    elif added and (chosen == "last" or not any(setting.is_highest for setting in present)):
        choose_highest(session, unit_id, added[-1], who=who)


def _save_consumables(session: Session, unit_id: int, form: TypedForm, who: str) -> None:
    consumable_id = form.whole_number("consumable_id", "The consumable")
    if form.text("consumable"):
        consumable_id = add_consumable(
            session,
            unit_id,
            NewConsumable(
                name=form.text("consumable"),
                kind=form.typed("consumable_kind", "filter"),
                washable=form.ticked("washable"),
                pieces_in_use=form.whole_number("pieces_in_use", "The pieces in use") or 1,
                pack_size=form.whole_number("pack_size", "The pieces in a pack") or 1,
                life_months=form.number("life_months", "The life in months"),
                life_running_hours=form.number("life_running_hours", "The life in running hours"),
                life_source=form.text("life_source"),
            ),
            who=who,
        )
    elif form.ticked("none_needed") and unit_with_parts(session, unit_id).consumables_state != "none needed":
        say_none_needed(session, unit_id, who=who)
    if form.text("consumable_price"):
        if consumable_id is None:
            form.add_error("consumable_id", "A price of a pack was given and no consumable; choose or name one.")
            return
        add_consumable_price(
            session,
            consumable_id,
            form.number("consumable_price", "The price of a pack"),
            form.text("consumable_currency"),
            _seen_date(form, "consumable_price_seen_on"),
            form.text("consumable_price_source"),
            who=who,
        )


def _seen_date(form: TypedForm, name: str) -> date | None:
    return form.day(name, "The day on which the price was seen")


def _lines(form: TypedForm, name: str) -> list[str]:
    return [line.strip() for line in form.typed(name).splitlines() if line.strip()]
