"""Fields of the unit form: reading them, and storing them section by section."""

from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.services.units.consumables import add_consumable, add_consumable_price, say_none_needed
from app.services.units.definitions import NewConsumable, NewPrice, NewSetting, NewUnit
from app.services.units.entry import add_setting
from app.services.units.prices import add_price
from app.services.units.speed_settings import choose_highest, rename_setting, settings_of
from app.services.units.with_parts import unit_with_parts
from app.web.forms.typed_form import TypedForm, filled_form

PACK = "consumable_"  # prefix of the fields of a pack's price


@dataclass(frozen=True, slots=True)
class TypedUnit:
    """Content of a unit form; an empty section is None."""

    unit: NewUnit | None
    price: NewPrice | None
    part: NewConsumable | None
    pack_price: NewPrice | None


def typed_unit(form: TypedForm, consumables_state: str = "unknown") -> TypedUnit:
    """Reads all sections at once, so that all errors show at the same time."""
    if form.text(f"{PACK}price") and not (form.text("consumable") or form.text("consumable_id")):
        form.add_error("consumable_id", "A pack price was entered without a consumable; choose or name one.")
    return TypedUnit(
        form.entry(NewUnit, consumables_state=consumables_state),
        form.entry(NewPrice) if _any(form, "price", "price_source") else None,
        form.entry(NewConsumable)
        if _any(form, "consumable", "life_months", "life_running_hours", "life_source")
        else None,
        form.entry(NewPrice, PACK) if _any(form, f"{PACK}price", f"{PACK}price_source") else None,
    )


def form_of_unit(session: Session, unit_id: int, currency: str) -> TypedForm:
    """The form filled with a stored unit."""
    unit = unit_with_parts(session, unit_id)
    highest = next((setting.id for setting in unit.settings if setting.is_highest), None)
    names = {f"setting_{setting.id}": setting.name for setting in unit.settings}
    return filled_form(
        NewUnit,
        unit,
        highest_setting=highest,
        currency=currency,
        consumable_currency=currency,
        none_needed=unit.consumables_state == "none needed",
        **names,
    )


def save_parts(session: Session, unit_id: int, form: TypedForm, typed: TypedUnit, who: str) -> None:
    """Stores settings, price and consumables of the form; empty sections are skipped."""
    _save_settings(session, unit_id, form, who)
    if typed.price is not None:
        add_price(session, unit_id, typed.price, who=who)
    consumable_id = form.whole_number("consumable_id", "The consumable")
    if typed.part is not None:
        consumable_id = add_consumable(session, unit_id, typed.part, who=who)
    elif form.ticked("none_needed") and unit_with_parts(session, unit_id).consumables_state != "none needed":
        say_none_needed(session, unit_id, who=who)
    if typed.pack_price is not None and consumable_id is not None:
        add_consumable_price(session, consumable_id, typed.pack_price, who=who)


def _save_settings(session: Session, unit_id: int, form: TypedForm, who: str) -> None:
    present = settings_of(session, unit_id)
    for setting in present:
        field = f"setting_{setting.id}"
        if field in form.values:
            rename_setting(session, setting.id, form.text(field), field=field, who=who)
    added = [add_setting(session, unit_id, NewSetting(name=name), who=who) for name in _lines(form, "new_settings")]
    chosen = form.text("highest_setting")
    if chosen.isdecimal():
        choose_highest(session, unit_id, int(chosen), who=who)
    elif added and (chosen == "last" or not any(setting.is_highest for setting in present)):
        choose_highest(session, unit_id, added[-1], who=who)


def _any(form: TypedForm, *names: str) -> bool:
    return any(form.text(name) for name in names)


def _lines(form: TypedForm, name: str) -> list[str]:
    return [line.strip() for line in form.typed(name).splitlines() if line.strip()]
