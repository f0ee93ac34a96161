"""What the numbers of a setting are based on, as text that stays the same as long as the source does."""

from collections import defaultdict
from dataclasses import dataclass

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.compute.statistics.spread_sources import OWN_REPEATS
from app.services.publishing.numbers.published_number import empty_room_runs
from app.services.snapshot.choices import Offered, RankingChoices
from app.services.snapshot.setting_rows import RankingRow
from app.storage.models.bench_measurements import PowerMeasurement, SoundMeasurement
from app.storage.models.loggers import SmokeSource
from app.storage.models.ratings_and_claims import Rating
from app.storage.models.rooms import Room
from app.storage.models.summaries import BenchRepeatability, SettingSummary
from app.storage.models.trials import ChannelResult, NaturalDecayPoolRun, Trial
from app.storage.models.units_under_test import Consumable, ConsumablePrice, Price

Pairs = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Sources:
    """Sources of all units. `by_setting` and `by_unit` hold texts under (id, kind)."""

    trials: dict[int, tuple[int, ...]]
    methods: dict[int, str]
    pools: dict[int, tuple[int, ...]]
    by_setting: dict[tuple[int, str], tuple[str, ...]]
    by_unit: dict[tuple[int, str], tuple[str, ...]]
    of_bench: dict[str, str]
    channel: str
    room_volume_m3: float | None

    def trials_of(self, setting_id: int) -> tuple[int, ...]:
        return self.trials.get(setting_id, ())

    def method_of(self, summary_id: int | None) -> str:
        return self.methods.get(summary_id or 0, "")

    def of_row(self, row: RankingRow, kinds: tuple[str, ...]) -> Pairs:
        """Pairs of kind and text for one line of the ranking, without its trials."""
        return tuple(pair for kind in kinds for pair in self._of_kind(row, kind))

    def _of_kind(self, row: RankingRow, kind: str) -> Pairs:
        if kind == "pool":
            return empty_room_runs(self.pools.get(row.pool_id or 0, ()))
        if kind == "repeatability" and row.between_trial_source in (None, "", OWN_REPEATS):
            return ()
        if kind == "repeatability of times":  # their interval uses it whatever the rate's rests on
            return (("repeatability", self.of_bench["repeatability"]),) if "repeatability" in self.of_bench else ()
        if kind in self.of_bench:
            return ((kind, self.of_bench[kind]),)
        found = self.by_setting.get((row.setting_id or 0, kind)) or self.by_unit.get((row.unit_id, kind), ())
        return tuple((kind, text) for text in found)


def read_sources(session: Session, choices: RankingChoices, offered: Offered) -> Sources:
    """The sources behind a ranking with these choices."""
    by_setting: dict[tuple[int, str], list[str]] = defaultdict(list)
    by_unit: dict[tuple[int, str], list[str]] = defaultdict(list)
    for sound in session.scalars(select(SoundMeasurement).order_by(SoundMeasurement.id)):
        text = f"reading {sound.id} of {sound.measured_on.isoformat()}"
        by_setting[sound.setting_id, "sound"].append(text)
    for power in session.scalars(select(PowerMeasurement).order_by(PowerMeasurement.id)):
        text = f"reading {power.id} of {power.measured_on.isoformat()}"
        if power.setting_id is None:
            by_unit[power.unit_under_test_id, "standby"].append(text)
        else:
            by_setting[power.setting_id, "power"].append(text)
    _read_prices(session, offered.currency, by_unit)
    for rating in session.scalars(select(Rating).order_by(Rating.id)):
        text = f"{rating.aerosol}, {rating.source or 'no source'}, {rating.seen_on.isoformat()}"
        by_unit[rating.unit_under_test_id, "rating"].append(text)
    pools: dict[int, list[int]] = defaultdict(list)
    for run in session.scalars(select(NaturalDecayPoolRun).order_by(NaturalDecayPoolRun.trial_id)):
        pools[run.pool_id].append(run.trial_id)
    return Sources(
        trials=_trials(session, choices),
        methods=dict(session.execute(select(SettingSummary.id, SettingSummary.method_version)).all()),
        pools={pool: tuple(runs) for pool, runs in pools.items()},
        by_setting={key: tuple(texts) for key, texts in by_setting.items()},
        by_unit={key: tuple(texts) for key, texts in by_unit.items()},
        of_bench=_of_bench(session, choices, offered),
        channel=choices.channel,
        room_volume_m3=None if (room := offered.room(choices.room_id)) is None else room.room_volume_m3,
    )  # fmt: skip


def _trials(session: Session, choices: RankingChoices) -> dict[int, tuple[int, ...]]:
    """Setting to the trials that count: usable in this channel, in this room, with this aerosol."""
    rows = session.execute(
        select(Trial.setting_id, Trial.id)
        .join(ChannelResult, ChannelResult.trial_id == Trial.id)
        .outerjoin(SmokeSource, SmokeSource.id == Trial.smoke_source_id)
        .where(
            Trial.setting_id.is_not(None),
            Trial.trashed_at.is_(None),
            Trial.excluded_at.is_(None),
            Trial.room_id == choices.room_id,
            ChannelResult.channel == choices.channel,
            ChannelResult.usable == True,  # noqa: E712  (a flag is an integer in the store)
            func.coalesce(SmokeSource.aerosol, "smoke") == choices.aerosol,
        )
        .order_by(Trial.id)
    )
    found: dict[int, list[int]] = defaultdict(list)
    for setting_id, trial_id in rows:
        found[setting_id or 0].append(trial_id)
    return {setting: tuple(trials) for setting, trials in found.items()}


def _read_prices(session: Session, currency: str, by_unit: dict[tuple[int, str], list[str]]) -> None:
    """The price that counts of each unit and part: the latest in the bench's currency."""
    latest: dict[int, str] = {}
    for price in session.scalars(select(Price).where(Price.currency == currency).order_by(Price.seen_on, Price.id)):
        latest[price.unit_under_test_id] = f"{price.seen_on.isoformat()}, {price.source or 'no source'}"
    for unit_id, text in latest.items():
        by_unit[unit_id, "price"].append(text)
    parts: dict[int, tuple[int, str]] = {}
    for part in session.execute(
        select(Consumable.id, Consumable.unit_under_test_id, Consumable.name, Consumable.life_months,
               Consumable.life_running_hours, ConsumablePrice.seen_on)
        .outerjoin(ConsumablePrice, ConsumablePrice.consumable_id == Consumable.id)
        .order_by(Consumable.id, ConsumablePrice.seen_on, ConsumablePrice.id)
    ):  # fmt: skip
        life = " or ".join(
            f"{life:g} {unit}"
            for life, unit in ((part.life_months, "months"), (part.life_running_hours, "running hours"))
            if life is not None
        )
        seen = "no price" if part.seen_on is None else f"price of {part.seen_on.isoformat()}"
        parts[part.id] = part.unit_under_test_id, ", ".join(word for word in (part.name, life, seen) if word)
    for unit_id, text in parts.values():
        by_unit[unit_id, "parts"].append(text)


def _of_bench(session: Session, choices: RankingChoices, offered: Offered) -> dict[str, str]:
    """Texts that all units share."""
    found = {
        "sound rule": f"{offered.standard_distance_m:g} m, {offered.sound_correction_rule}",
        "use": f"{offered.hours_per_day:g} h per day, {offered.days_per_year:g} days per year",
        "tariff": "none"
        if offered.price_per_kwh is None
        else f"{offered.price_per_kwh:g} {offered.currency}/kWh, {offered.tariff_region or 'own price'}",
    }
    room = session.get(Room, choices.room_id) if choices.room_id is not None else None
    if room is not None:
        size = f"{room.room_volume_m3:g} ± {room.room_volume_uncertainty_m3:g} m³"
        found["room"] = f"{room.name}, {size}"
    spread = session.get(BenchRepeatability, choices.channel)
    if spread is not None:
        size = f"{100 * spread.relative_sd:.4g} %"
        found["repeatability"] = f"{size} from {spread.trials} trials of {spread.groups} settings"
    return found
