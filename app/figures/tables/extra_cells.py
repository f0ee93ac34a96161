"""The optional columns of the ranking as cells of a table for download."""

from collections.abc import Callable
from dataclasses import dataclass

from app.compute.wording.rounding import rounded_text
from app.figures.tables.quantity_cells import measured
from app.figures.tables.table import AT_MOST, ExportCell, ExportColumn, plain_cell
from app.services.ranking.extra_columns import ExtraFacts
from app.services.snapshot.choices import EXTRA_COLUMNS

UNVERIFIED = "unverified"


@dataclass(frozen=True, slots=True)
class ExtraExport:
    """One optional column: the end of its CSV name, its unit, and its cell, in the reader's units of measure.

    key_end, unit_symbol : functions of the currency and the flow unit
    cell : function of the facts of a line and the factor from m³/h to the flow unit
    """

    key_end: Callable[[str, str], str]
    unit_symbol: Callable[[str, str], str]
    cell: Callable[[ExtraFacts, float], ExportCell]
    with_interval: bool = True


def _flow_key(symbol: str) -> str:
    return "cfm" if symbol == "cfm" else "m3_per_h"


def _per_watt(facts: ExtraFacts, flow_factor: float) -> ExportCell:
    if facts.per_watt is None:
        return ExportCell(why=facts.why_no_per_watt)
    return measured(facts.per_watt.times(flow_factor))


def _clean_air_cost(facts: ExtraFacts, _: float) -> ExportCell:
    if facts.clean_air_cost is None:
        return ExportCell(why=facts.why_no_clean_air_cost)
    return measured(facts.clean_air_cost)


def _certified(facts: ExtraFacts, flow_factor: float) -> ExportCell:
    rate = facts.certified_smoke.rate_m3_per_h
    return plain_cell(None if rate is None else rate * flow_factor, 0, why=facts.certified_smoke.why_not)


def _federal(facts: ExtraFacts, _: float) -> ExportCell:
    if facts.federal is None:
        return ExportCell(why=facts.why_no_federal)
    why = f"Unverified: {'; '.join(facts.federal.unverified)}."
    return ExportCell(rounded_text(facts.federal.integrated_energy_factor_cfm_per_w, 2), bound=UNVERIFIED, why=why)


def _ozone(facts: ExtraFacts, _: float) -> ExportCell:
    if facts.ozone_less_than_ppb is not None:
        return plain_cell(facts.ozone_less_than_ppb, 0, bound=AT_MOST, why=facts.ozone_text)
    return plain_cell(facts.ozone_ppb, 0, why=facts.ozone_text)


EXTRA_EXPORTS = {
    "clean_air_per_watt": ExtraExport(
        lambda _, flow: f"_{_flow_key(flow)}_per_w", lambda _, flow: f"({flow})/W", _per_watt
    ),
    "clean_air_cost": ExtraExport(
        lambda currency, _: f"_{currency.lower()}_per_1000_m3", lambda currency, _: currency, _clean_air_cost
    ),
    "certified_smoke": ExtraExport(
        lambda _, flow: f"_{_flow_key(flow)}", lambda _, flow: flow, _certified, with_interval=False
    ),
    "federal_energy_factor": ExtraExport(lambda _c, _f: "_cfm_per_w", lambda _c, _f: "(ft³/min)/W", _federal),
    "ozone": ExtraExport(lambda _c, _f: "_ppb", lambda _c, _f: "ppb", _ozone),
}


def extra_export_column(key: str, currency: str, flow_symbol: str) -> ExportColumn:
    column = EXTRA_EXPORTS[key]
    return ExportColumn(
        key + column.key_end(currency, flow_symbol),
        EXTRA_COLUMNS[key],
        column.unit_symbol(currency, flow_symbol),
        with_interval=column.with_interval,
    )
