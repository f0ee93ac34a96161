"""Further parts of a unit's page: efficiency, recordings, price history, claims chart."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.compute.statistics.measured import Measured
from app.compute.wording.numbers import measured_text
from app.compute.wording.rounding import rounded_text
from app.figures.charts.claims_measured import claims_text, has_share
from app.services.adding_trials.plans.campaigns import planned_of_unit
from app.services.measurements.efficiency import UnitEfficiency, unit_efficiency
from app.services.measurements.measured_rates import rates_of_unit
from app.services.measurements.sound_clips import clips_of_unit
from app.services.reviews.unit_overview import UnitOverview
from app.services.reviews.verdicts import verdicts_of_unit
from app.web.dependencies import SessionDep
from app.web.forms.unit_system import UnitSystem
from app.web.pages.attachments.lines import AttachmentLine, unit_lines
from app.web.pages.cells import Cell
from app.web.pages.units.checklist import ChecklistItem, checklist, missing_text
from app.web.pages.units.clips import tone_text
from app.web.pages.units.undo import UndoOffer, undo_offer
from app.web.templating.page_context import rows_class


@dataclass(frozen=True, slots=True)
class EfficiencyLine:
    """Clean air per watt at one setting."""

    setting: str
    aerosol: str
    cell: Cell


@dataclass(frozen=True, slots=True)
class UnitMore:
    """Further parts of a unit's page.

    federal : name and text of each figure; if empty, `why_no_federal` says why
    recordings : setting and one sentence each, with the clip's id
    """

    efficiency: tuple[EfficiencyLine, ...]
    flow_per_watt: str
    federal: tuple[tuple[str, str], ...]
    federal_unverified: tuple[str, ...]
    why_no_federal: str
    recordings: tuple[tuple[int, str, str], ...]
    attachments: Sequence[AttachmentLine]
    checklist: tuple[ChecklistItem, ...]
    missing: str
    undo: UndoOffer | None
    has_price_history: bool
    has_claims_chart: bool
    claims_text: str
    claims_size: str


def unit_more(session: SessionDep, known: UnitOverview, system: UnitSystem) -> UnitMore:
    unit_id = known.unit.id
    found = unit_efficiency(rates_of_unit(session, unit_id), known.powers, known.ratings)
    names = {level.setting.id: level.setting.name for level in known.sounds}
    shares = sum(has_share(entry) for entry in known.claims)
    attachments = unit_lines(session, unit_id, known.sounds, known.powers)
    recordings = [clip for clip in clips_of_unit(session, unit_id) if clip.pascal_per_unit is not None]
    items = checklist(
        known,
        planned_of_unit(session, unit_id),
        photos=len(attachments),
        recordings=len(recordings),
        verdicts=sum(verdict.withdrawal is None for verdict in verdicts_of_unit(session, unit_id)),
    )
    return UnitMore(
        efficiency=tuple(
            EfficiencyLine(entry.setting, entry.aerosol, _per_watt(entry.per_watt, entry.why_not, system))
            for entry in found.settings
        ),
        flow_per_watt=f"({system.flow_symbol})/W",
        federal=_federal(found),
        federal_unverified=found.federal.unverified if found.federal else (),
        why_no_federal=found.why_no_federal,
        attachments=attachments,
        checklist=items,
        missing=missing_text(items),
        undo=undo_offer(session, unit_id),
        recordings=tuple(
            (
                clip.id,
                names.get(clip.setting_id, ""),
                f"{clip.equivalent_level_dba:.0f}\u00a0dB(A) at {clip.distance_m:g}\u00a0m, {tone_text(clip)}",
            )
            for clip in recordings
        ),
        has_price_history=len(known.prices) > 1 or any(len(part.prices) > 1 for part in known.parts),
        has_claims_chart=shares > 0,
        claims_text=claims_text(f"{known.unit.maker} {known.unit.model}", known.claims),
        claims_size=rows_class(shares),
    )


def _per_watt(value: Measured | None, why_not: str, system: UnitSystem) -> Cell:
    if value is None:
        return Cell("missing", reason=why_not)
    scaled = value.times(system.flow_factor)
    words = measured_text(scaled.value, scaled.uncertainty, scaled.low_95, scaled.high_95)
    return Cell("value", words.value, words.interval)


def _federal(found: UnitEfficiency) -> tuple[tuple[str, str], ...]:
    federal = found.federal
    if federal is None:
        return ()
    factor = federal.integrated_energy_factor_cfm_per_w
    rows = [
        ("Integrated energy factor", f"{rounded_text(factor, 2)}\u00a0(ft³/min)/W"),
        ("PM2.5 rate from certified smoke and dust rates", f"{rounded_text(federal.pm2_5_rate_cfm, 0)}\u00a0ft³/min"),
        ("Federal annual energy use", f"{rounded_text(federal.energy_kwh_per_year, 0)}\u00a0kWh"),
    ]
    for limit in federal.minima:
        side = "at or above" if factor >= limit.minimum.value else "below"
        rows.append(
            (
                f"Minimum factor of its class, for {limit.made_from}",
                f"{limit.minimum.value:g}\u00a0(ft³/min)/W; this unit is {side} it ({limit.minimum.caution})",
            )
        )
    if not federal.in_scope:
        rows.append(("Scope", "outside the rule's range of 10 to 600\u00a0ft³/min"))
    return tuple(rows)
