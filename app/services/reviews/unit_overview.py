"""Everything known about one unit, in the order in which a buyer asks."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session, selectinload

from app.compute.cost_and_energy.cost_over_years import CostOverYears, cost_over_years
from app.compute.wording.notes import Note
from app.errors import InvalidValue, NotFound
from app.services.bench.choices import bench_choices
from app.services.bench.definitions import BenchChoices
from app.services.costs.choices import OwningChoices, owning_terms
from app.services.costs.owned_units import UnitAtSetting, owned_unit
from app.services.measurements.claims import CheckedClaim, claims_of_unit, measured_unit
from app.services.measurements.ozone_tests import UnitOzone
from app.services.measurements.power_levels import SettingPower
from app.services.measurements.ratings import RatingWithComparison, ratings_of_unit
from app.services.measurements.sound_levels import SettingLevel
from app.services.ranking.table import UnitLines, lines_of_unit
from app.services.results.rows import stored_note
from app.services.snapshot.bench_snapshot import current_snapshot
from app.services.snapshot.choices import RankingChoices
from app.services.store.entry_fields import stored_values
from app.services.trials.list import ListedTrial, TrialFilter, filtered_trials, list_trials
from app.services.trials.usable import latest_usable_trials, usable_trials
from app.services.units.definitions import NewConsumable
from app.services.units.with_parts import ConsumableOfUnit, PriceSeen
from app.storage.models.rooms import Room
from app.storage.models.trials import ResultNote, Trial
from app.storage.models.units_under_test import Consumable, ConsumablePrice, Price, UnitUnderTest

# Trials that a page of a unit lists; the others are in the list of trials.
NEWEST_TRIALS = 50


@dataclass(frozen=True, slots=True)
class TrialsInRoom:
    """How many trials of a unit one room has, excluded ones too, and the start of the last."""

    room_id: int
    room: str
    trials: int
    last: datetime


@dataclass(frozen=True, slots=True)
class UnitOverview:
    """One unit with its measurements, ratings and claims; prices newest first.

    lines : one per setting, as in the ranking
    over_years : cost over five years at the highest setting; None where no electricity price is known
    trials : the newest ones, newest first, including excluded ones
    notes : trial id to the notes of severity "care" and "unusable", of these trials
    trials_in : rooms with trials of the unit, by name
    latest_usable : setting id to the last of the trials behind its ranking line
    """

    unit: UnitUnderTest
    bench: BenchChoices
    lines: UnitLines
    sounds: tuple[SettingLevel, ...]
    powers: tuple[SettingPower, ...]
    over_years: CostOverYears | None
    parts: tuple[ConsumableOfUnit, ...]
    prices: tuple[PriceSeen, ...]
    claims: tuple[CheckedClaim, ...]
    ratings: tuple[RatingWithComparison, ...]
    ozone: UnitOzone
    trials: tuple[ListedTrial, ...]
    notes: dict[int, tuple[Note, ...]]
    trials_in: tuple[TrialsInRoom, ...]
    latest_usable: dict[int, int]

    @property
    def number_of_trials(self) -> int:
        return sum(room.trials for room in self.trials_in)


def unit_overview(
    session: Session, unit_id: int, choices: RankingChoices | None = None, most_trials: int = NEWEST_TRIALS
) -> UnitOverview:
    """Raises NotFound for an unknown unit; a trashed one is found. Channel and room come from `choices`."""
    unit = session.scalar(
        select(UnitUnderTest)
        .where(UnitUnderTest.id == unit_id)
        .options(
            selectinload(UnitUnderTest.settings),
            selectinload(UnitUnderTest.prices),
            selectinload(UnitUnderTest.consumables).selectinload(Consumable.prices),
        )
    )
    if unit is None:
        raise NotFound("unit under test", unit_id)
    lines = lines_of_unit(current_snapshot(session), unit_id, choices)
    of_unit, chosen = TrialFilter(unit_under_test_id=unit_id), lines.choices
    trials = list_trials(session, of_unit, chosen.channel, most_trials).rows
    measured = measured_unit(session, unit_id)
    return UnitOverview(
        unit=unit,
        bench=bench_choices(session),
        lines=lines,
        sounds=measured.sounds,
        powers=measured.powers,
        over_years=_over_years(session, unit_id),
        parts=tuple(
            ConsumableOfUnit(id=part.id, prices=_newest_first(part.prices), **stored_values(NewConsumable, part))
            for part in unit.consumables
        ),
        prices=_newest_first(unit.prices),
        claims=claims_of_unit(session, unit_id, measured),
        ratings=ratings_of_unit(session, unit_id),
        ozone=measured.ozone,
        trials=trials,
        notes=_notes(session, trials),
        trials_in=_trials_in(session, of_unit),
        latest_usable=latest_usable_trials(session, *_behind_lines(unit, chosen)),
    )


def trials_of_results(session: Session, known: UnitOverview) -> dict[int, tuple[int, ...]]:
    """Setting id to all trials behind its ranking line, oldest first."""
    return usable_trials(session, *_behind_lines(known.unit, known.lines.choices))


def _behind_lines(unit: UnitUnderTest, chosen: RankingChoices) -> tuple[list[int], str, int | None, str]:
    """Settings, channel, room and aerosol of the trials behind a unit's ranking lines."""
    return [setting.id for setting in unit.settings], chosen.channel, chosen.room_id, chosen.aerosol


def _trials_in(session: Session, of_unit: TrialFilter) -> tuple[TrialsInRoom, ...]:
    counted = (
        filtered_trials(of_unit)
        .join(Trial.room)
        .with_only_columns(Room.id, Room.name, func.count(), func.max(Trial.started_at))
        .group_by(Room.id, Room.name)
        .order_by(Room.name)
    )
    return tuple(TrialsInRoom(*row) for row in session.execute(counted))


def _newest_first(prices: Sequence[Price | ConsumablePrice]) -> tuple[PriceSeen, ...]:
    return tuple(PriceSeen(**stored_values(PriceSeen, price)) for price in reversed(list(prices)))


def _over_years(session: Session, unit_id: int) -> CostOverYears | None:
    try:
        terms = owning_terms(session, OwningChoices())
    except InvalidValue:  # no electricity price yet
        return None
    unit = owned_unit(current_snapshot(session), terms, unit_id)
    if not isinstance(unit, UnitAtSetting):
        return None
    return cost_over_years(unit.owned, terms.assumptions, terms.choices.years)


def _notes(session: Session, trials: tuple[ListedTrial, ...]) -> dict[int, tuple[Note, ...]]:
    """Notes of severity "care" and "unusable", by trial."""
    trial_of = {listed.result.id: listed.trial.id for listed in trials if listed.result is not None}
    found: dict[int, list[Note]] = {}
    for note in session.scalars(
        select(ResultNote)
        .where(ResultNote.result_id.in_(trial_of), ResultNote.severity != "fine")
        .order_by(ResultNote.result_id, ResultNote.position)
    ):
        found.setdefault(trial_of[note.result_id], []).append(stored_note(note))
    return {trial_id: tuple(notes) for trial_id, notes in found.items()}
