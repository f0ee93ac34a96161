"""A bench whose natural decay is uncertain and shared: rates alone overlap, differences do not."""

from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.compute.clean_air.rate import clean_air_delivery_rate, detection, standard_clearing_time
from app.compute.statistics.measured import Measured
from app.storage.models.rooms import Room
from app.storage.models.summaries import SettingSummary
from app.storage.models.trials import NaturalDecayPool
from tests.sample_data.measured_facts import (
    DAY,
    NOW,
    add_power,
    add_price,
    add_sound,
    add_tariff,
    add_unit_with_setting,
)

VOLUME = Measured(30.0, 1.0)
NATURAL = Measured(0.6, 0.2)


@dataclass(frozen=True)
class ComparedBench:
    """Ids by model: Alder (total decay 6.0 per hour), Birch (5.5), Cedar (5.45), Dud (0.62, as the empty room),
    Elm (never tried)."""

    room_id: int
    units: dict[str, int]
    settings: dict[str, int]

    def ids(self, *models: str) -> tuple[int, ...]:
        return tuple(self.settings[model] for model in models)


def fill(session: Session) -> ComparedBench:
    room = Room(name="Room A", room_volume_m3=VOLUME.value, room_volume_uncertainty_m3=VOLUME.uncertainty)
    session.add(room)
    session.flush()
    pool = NaturalDecayPool(
        room_id=room.id,
        channel="pm2_5",
        natural_decay_per_h=NATURAL.value,
        uncertainty_per_h=NATURAL.uncertainty,
        between_run_sd_per_h=0.05,
        number_of_runs=3,
        first_run_on=DAY,
        last_run_on=DAY,
        method_version="test",
    )
    session.add(pool)
    session.flush()
    units, settings = {}, {}
    for model, total in (("Alder", 6.0), ("Birch", 5.5), ("Cedar", 5.45), ("Dud", 0.62), ("Elm", None)):
        units[model], settings[model] = add_unit_with_setting(session, model)
        if total is not None:
            add_summary(session, units[model], settings[model], room.id, pool.id, Measured(total, 0.08))
    # one meter for Alder and Birch, another for Cedar, a room too loud for Dud
    for model, level, meter in (("Alder", 50.0, "meter 1"), ("Birch", 48.0, "meter 1"), ("Cedar", 48.5, "meter 2")):
        add_sound(session, units[model], settings[model], level, instrument=meter)
    add_sound(session, units["Dud"], settings["Dud"], 21.0, background_dba=20.0, instrument="meter 1")
    for model, watts in (("Alder", 60.0), ("Birch", 40.0), ("Cedar", 40.1)):
        add_power(session, units[model], settings[model], watts)
    for model, price in (("Alder", 200.0), ("Birch", 150.0), ("Cedar", 150.0)):
        add_price(session, units[model], price)
    add_price(session, units["Dud"], 30.0, "EUR")
    add_tariff(session, 0.20)
    session.flush()
    return ComparedBench(room.id, units, settings)


def add_summary(session: Session, unit_id: int, setting_id: int, room_id: int, pool_id: int, total: Measured) -> None:
    """The summary of a setting with this total decay, worked out as `services/results/summaries.py` does."""
    rate, limit = clean_air_delivery_rate(total, NATURAL, VOLUME), detection(total, NATURAL, VOLUME)
    clearing = standard_clearing_time(total)
    assert clearing is not None
    session.add(
        SettingSummary(
            unit_under_test_id=unit_id,
            setting_id=setting_id,
            room_id=room_id,
            channel="pm2_5",
            aerosol="smoke",
            method_version="test",
            computed_at=NOW,
            trials=2,
            usable_trials=2,
            excluded_trials=0,
            censored_trials=0,
            latest_trial_id=setting_id,
            latest_trial_on=DAY,
            total_decay_per_h=total.value,
            total_decay_uncertainty_per_h=total.uncertainty,
            pool_id=pool_id,
            clean_air_delivery_rate_m3_per_h=rate.value,
            clean_air_delivery_rate_uncertainty=rate.uncertainty,
            clean_air_delivery_rate_low_95=rate.low_95,
            clean_air_delivery_rate_high_95=rate.high_95,
            measurable=limit.measurable,
            at_most_m3_per_h=None if limit.measurable else limit.at_most,
            standard_clearing_time_min=clearing.value,
            standard_clearing_time_low_95_min=clearing.low_95,
            standard_clearing_time_high_95_min=clearing.high_95,
        )
    )
    session.flush()
