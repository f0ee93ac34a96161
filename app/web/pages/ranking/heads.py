"""Headers of the ranking's columns: label, unit, and the URL that sorts by it."""

from app.services.ranking.table import Ranking
from app.web.forms.addresses import address
from app.web.forms.typed_form import TypedForm
from app.web.forms.unit_system import UnitSystem
from app.web.pages.cells import time_to_clear_unit
from app.web.pages.ranking.columns import USUAL, PickedColumns
from app.web.templating.page_context import Column

_DRAWN = ("clean_air_delivery_rate", "time_to_clear")


def columns_of(ranking: Ranking, form: TypedForm, system: UnitSystem, picked: PickedColumns) -> tuple[Column, ...]:
    """The unit's name, the default columns shown, and the optional ones."""
    columns = {column.key: column for column in _columns(ranking, form, system)}
    usual = tuple(columns[key] for key in ("name", *picked.usual))
    return usual + tuple(
        Column(key, words, symbol, _sort_address(key, ranking, form), _sorted_now(key, ranking))
        for key, words, symbol in picked.heads
    )


def heads(ranking: Ranking, system: UnitSystem) -> tuple[tuple[str, str, str, bool], ...]:
    """Key, label, unit and whether a bar is shown, of each column."""
    currency = ranking.offered.currency
    units = {
        "clean_air_delivery_rate": system.flow_symbol,
        "air_changes": "1/h",
        "standard_clearing_time": "min",
        "time_to_clear": time_to_clear_unit(ranking.choices.channel),
        "sound": "dB(A)",
        "power": "W",
        "price": currency,
        "running_cost": f"{currency}/year",
        "trials": "",
    }
    return ("name", "Unit", "", False), *((key, words, units[key], key in _DRAWN) for key, words in USUAL.items())


def _columns(ranking: Ranking, form: TypedForm, system: UnitSystem) -> tuple[Column, ...]:
    return tuple(
        Column(key, words, unit, _sort_address(key, ranking, form), _sorted_now(key, ranking), has_bar)
        for key, words, unit, has_bar in heads(ranking, system)
    )


def _sort_address(key: str, ranking: Ranking, form: TypedForm) -> str:
    now = ranking.choices
    turned = key == now.sort
    descending = (not now.larger_first) if turned else None
    return address(
        "/",
        form.values,
        sort=key,
        descending=None if descending is None else ("1" if descending else "0"),
        offset=None,
    )


def _sorted_now(key: str, ranking: Ranking) -> str:
    if key != ranking.choices.sort:
        return ""
    return "descending" if ranking.choices.larger_first else "ascending"
