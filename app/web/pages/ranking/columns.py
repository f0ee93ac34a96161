"""Columns of the ranking: default and optional ones, selected by the reader and remembered."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from app.compute.statistics.measured import Measured
from app.compute.wording.numbers import measured_text
from app.compute.wording.rounding import rounded_text
from app.services.ranking.table import Ranking
from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.services.snapshot.choices import EXTRA_COLUMNS
from app.web.forms.addresses import address
from app.web.forms.typed_form import TypedForm
from app.web.forms.unit_system import UnitSystem
from app.web.pages.cells import Cell
from app.web.templating.page_context import Choice

if TYPE_CHECKING:
    from app.services.ranking.extra_columns import ExtraFacts

COOKIE = "ranking_columns"
USUAL_ONES = "usual"  # value of the button that resets the selection
USUAL = {
    "clean_air_delivery_rate": "Clean air delivery rate",
    "air_changes": "Air changes",
    "standard_clearing_time": "Time to 95\u00a0% reduction",
    "time_to_clear": "Time to clear",
    "sound": "Sound",
    "power": "Power",
    "price": "Price",
    "running_cost": "Running cost",
    "trials": "Trials",
}
# shown unless the reader selects others; the names come first, and the rate is in no group
DEFAULT = (
    "clean_air_delivery_rate",
    "standard_clearing_time",
    "sound",
    "power",
    "price",
    "running_cost",
    "trials",
)
GROUPS: dict[str, tuple[str, tuple[str, ...]]] = {
    "cleaning": ("Cleaning", ("air_changes", "standard_clearing_time", "time_to_clear", "certified_smoke")),
    "use": ("Sound and power", ("sound", "power", "clean_air_per_watt", "federal_energy_factor", "ozone")),
    "cost": ("Cost", ("price", "running_cost", "clean_air_cost")),
    "trials": ("Trials", ("trials",)),
}


@dataclass(frozen=True, slots=True)
class ExtraColumn:
    """An optional column: its unit and its cell."""

    unit_symbol: Callable[[UnitSystem, str], str]
    cell: Callable[["ExtraFacts", UnitSystem], Cell]


@dataclass(frozen=True, slots=True)
class PickedColumns:
    """The names of the default columns shown, and the optional ones with their cells.

    heads : key, label and unit of each optional column
    """

    usual: tuple[str, ...]
    heads: tuple[tuple[str, str, str], ...] = ()
    cells: tuple[tuple[Cell, ...], ...] = ()


ALL_USUAL = PickedColumns(tuple(USUAL))


@dataclass(frozen=True, slots=True)
class GroupSwitch:
    """A column group, the URL that folds it away or shows it again, and whether it is folded now."""

    words: str
    address: str
    is_folded: bool


def _measured(value: Measured | None, why_not: str, factor: float = 1.0) -> Cell:
    if value is None:
        return Cell("missing", reason=why_not)
    scaled = value.times(factor)
    words = measured_text(scaled.value, scaled.uncertainty, max(0.0, scaled.low_95), scaled.high_95)
    return Cell("value", words.value, words.interval if scaled.uncertainty else "")


def _certified_cell(facts: "ExtraFacts", system: UnitSystem) -> Cell:
    found = facts.certified_smoke
    if found.rate_m3_per_h is None:
        return Cell("missing", reason=found.why_not)
    return Cell("value", rounded_text(found.rate_m3_per_h * system.flow_factor, 0), f"seen {found.seen_on}")


def _federal_cell(facts: "ExtraFacts", _: UnitSystem) -> Cell:
    if facts.federal is None:
        return Cell("missing", reason=facts.why_no_federal)
    reason = f"Unverified: {'; '.join(facts.federal.unverified)}."
    return Cell("bound", rounded_text(facts.federal.integrated_energy_factor_cfm_per_w, 2), "unverified", reason)


def _ozone_cell(facts: "ExtraFacts", _: UnitSystem) -> Cell:
    if facts.ozone_ppb is not None:
        return Cell("bound", rounded_text(facts.ozone_ppb, 0), reason=facts.ozone_text)
    if "not measured" in facts.ozone_text:
        return Cell("missing", reason=facts.ozone_text)
    return Cell("bound", "below detection", reason=facts.ozone_text)


EXTRA = {
    "clean_air_per_watt": ExtraColumn(
        lambda system, _: f"({system.flow_symbol})/W",
        lambda facts, system: _measured(facts.per_watt, facts.why_no_per_watt, system.flow_factor),
    ),
    "clean_air_cost": ExtraColumn(
        lambda _, currency: currency,
        lambda facts, _: _measured(facts.clean_air_cost, facts.why_no_clean_air_cost),
    ),
    "certified_smoke": ExtraColumn(lambda system, _: system.flow_symbol, _certified_cell),
    "federal_energy_factor": ExtraColumn(lambda _s, _c: "(ft³/min)/W", _federal_cell),
    "ozone": ExtraColumn(lambda _s, _c: "ppb", _ozone_cell),
}


def picked_keys(form: TypedForm, cookies: Mapping[str, str]) -> tuple[str, ...] | None:
    """Columns in the URL, else the remembered ones; None: the defaults. Unknown names are ignored."""
    asked = form.values.get("column")
    if asked is None:
        remembered = cookies.get(COOKIE, "")
        asked = remembered.split(".") if remembered else None
    if asked is None or USUAL_ONES in asked:
        return None
    known = [key for key in (*USUAL, *EXTRA) if key in asked]
    return tuple(known) or None


def folded_groups(form: TypedForm) -> tuple[str, ...]:
    """The column groups that the URL folds away; unknown names are ignored."""
    return tuple(group for group in GROUPS if group in form.values.get("fold", ()))


def picked_columns(
    snapshot: BenchSnapshot,
    ranking: Ranking,
    asked: tuple[str, ...] | None,
    system: UnitSystem,
    folded: tuple[str, ...] = (),
) -> PickedColumns:
    """The columns with the cells of the optional ones.

    asked : the reader's selection; None: the default columns
    folded : column groups that are left out
    """
    hidden = {key for group in folded for key in GROUPS[group][1]}
    keys = [key for key in (DEFAULT if asked is None else asked) if key not in hidden]
    usual = tuple(key for key in USUAL if key in keys)
    extra = [(key, column) for key, column in EXTRA.items() if key in keys]
    if not extra:
        return PickedColumns(usual)
    from app.services.ranking.extra_columns import (
        extra_facts,
    )  # loaded when used: few readers select an optional column

    facts = extra_facts(snapshot, ranking.lines)
    currency = ranking.offered.currency
    return PickedColumns(
        usual,
        tuple((key, EXTRA_COLUMNS[key], column.unit_symbol(system, currency)) for key, column in extra),
        tuple(tuple(column.cell(one, system) for _, column in extra) for one in facts),
    )


def column_choices(keys: tuple[str, ...] | None) -> tuple[Choice, ...]:
    """All columns that can be selected."""
    shown = DEFAULT if keys is None else keys
    words = USUAL | EXTRA_COLUMNS
    return tuple(Choice(key, text, key in shown) for key, text in words.items())


def group_switches(form: TypedForm, keys: tuple[str, ...] | None) -> tuple[GroupSwitch, ...]:
    """The column groups of the selection, each with the URL that folds it away or shows it again."""
    shown, folded = DEFAULT if keys is None else keys, folded_groups(form)
    return tuple(
        GroupSwitch(
            words,
            address("/", form.values, fold=[one for one in GROUPS if (one in folded) != (one == group)]),
            group in folded,
        )
        for group, (words, columns) in GROUPS.items()
        if any(key in shown for key in columns)
    )
