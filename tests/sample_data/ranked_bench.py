"""A bench of seven units with summaries put straight into the store, one for each case that a ranking has to order."""

from dataclasses import dataclass

from sqlalchemy import update
from sqlalchemy.orm import Session

from app.storage.models.bench import Bench
from app.storage.models.rooms import Room
from app.storage.models.summaries import SettingSummary
from app.storage.models.units_under_test import SpeedSetting
from tests.sample_data.measured_facts import (
    add_power,
    add_price,
    add_rate,
    add_sound,
    add_tariff,
    add_unit_with_setting,
)


@dataclass(frozen=True)
class RankedBench:
    """Ids by model, and of the low setting of the strong unit."""

    room_id: int
    units: dict[str, int]
    settings: dict[str, int]
    strong_low_setting_id: int


def fill(session: Session) -> RankedBench:
    """Strong 400 m³/h and dear, middling 200, weak 90; two that cannot be told from zero; one without natural decay;
    one never tried. Strong has a quiet low setting. Middling never reached the clear level."""
    room = Room(name="Room A", room_volume_m3=30.0, room_volume_uncertainty_m3=0.5)
    session.add(room)
    session.flush()
    units, settings = {}, {}
    for model, kind in (
        ("Strong", "mechanical filter"),
        ("Middling", "electrostatic"),
        ("Weak", "mechanical filter"),
        ("Noise", "ioniser"),
        ("Other noise", "ioniser"),
        ("No pool", "water wash"),
        ("Untried", "other"),
    ):
        units[model], settings[model] = add_unit_with_setting(session, model, kind=kind)
    low = SpeedSetting(unit_under_test_id=units["Strong"], name="low", position=0, is_highest=False)
    session.add(low)
    session.flush()
    for model, rate in (("Strong", 400.0), ("Middling", 200.0), ("Weak", 90.0)):
        add_rate(session, units[model], settings[model], room.id, rate)
    add_rate(session, units["Strong"], low.id, room.id, 120.0)
    # the second one reads higher by its noise, which must not count
    add_rate(session, units["Noise"], settings["Noise"], room.id, -3.0, measurable=False, at_most=7.0)
    add_rate(session, units["Other noise"], settings["Other noise"], room.id, 5.0, measurable=False, at_most=15.0)
    add_rate(session, units["No pool"], settings["No pool"], room.id, None)
    for model, reached, bound in (
        ("Strong", 20.0, None),
        ("Weak", 95.0, None),
        ("Middling", None, 60.0),
        ("Noise", None, 140.0),
    ):
        session.execute(
            update(SettingSummary)
            .where(SettingSummary.setting_id == settings[model])
            .values(time_to_clear_min=reached, not_cleared_before_min=bound, censored_trials=0 if reached else 3)
        )
    for model, level in (("Strong", 58.0), ("Middling", 44.0), ("Weak", 39.0)):
        add_sound(session, units[model], settings[model], level)
    add_sound(session, units["Strong"], low.id, 33.0)
    for model, price in (("Strong", 500.0), ("Middling", 150.0), ("Weak", 80.0)):
        add_price(session, units[model], price)
    add_price(session, units["Noise"], 20.0, "EUR")
    add_tariff(session, 0.16)
    add_power(session, units["Strong"], settings["Strong"], 50.0)
    session.execute(update(Bench).values(hours_per_day=24.0, days_per_year=365.0))
    session.flush()
    return RankedBench(room.id, units, settings, low.id)
