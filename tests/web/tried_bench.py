"""A small bench with data: empty-room runs, a strong unit, a useless one and an untested one, power, a tariff.

Built once for all tests and copied for each, because six trials take longer to analyse than most tests to run.
"""

from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.services.adding_trials.add import add_trial
from app.services.bench.definitions import NewRoom, NewSmokeSource
from app.services.bench.rooms import add_room
from app.services.bench.smoke_sources import add_smoke_source
from app.services.logs.trial_fields import NewTrial
from app.services.measurements.definitions import NewPowerMeasurement
from app.services.measurements.power_levels import add_power_measurement
from app.services.units.definitions import NewPrice, NewSetting, NewUnit
from app.services.units.entry import add_setting, add_unit
from app.services.units.prices import add_price
from app.storage.models.bench import Bench, Tariff
from tests.conftest import NOW, decay_log


@dataclass(frozen=True)
class TriedBench:
    """Ids of what the bench holds. Trials 1 and 2 are empty-room runs, 3 and 4 of the strong unit, 5 and 6 of the
    useless one."""

    room_id: int = 1
    strong_unit_id: int = 1
    useless_unit_id: int = 2
    untried_unit_id: int = 3


def fill(session: Session) -> None:
    """Fills an empty store with the bench."""
    room = add_room(session, NewRoom(name="Room A", length_m=4, width_m=3, height_m=2.5))
    source = add_smoke_source(session, NewSmokeSource(name="incense"))
    strong = add_unit(session, NewUnit(maker="Maker A", model="Model 1", kind="mechanical filter"), now=NOW)
    low = add_setting(session, strong, NewSetting(name="low"))
    high = add_setting(session, strong, NewSetting(name="high", is_highest=True))
    add_price(session, strong, NewPrice(amount=199.0, currency="USD", seen_on=NOW.date(), source="price list"))
    useless = add_unit(session, NewUnit(maker="Maker Z", model="Lamp"), now=NOW)
    on = add_setting(session, useless, NewSetting(name="on", is_highest=True))
    add_unit(session, NewUnit(maker="Maker Q", model="Untried"), now=NOW)
    assert (room, strong, useless, low) == (1, 1, 2, 1)
    for seed in (11, 12):
        run = NewTrial(kind="empty room", room_id=room, smoke_source_id=source, tested_by="Ada")
        add_trial(session, decay_log(0.6, minutes=120, seed=seed), "empty.csv", run, now=NOW)
    for unit, setting, rate, minutes, seed in (
        (strong, high, 6.0, 60, 5),
        (strong, high, 6.0, 60, 6),
        (useless, on, 0.61, 120, 7),
        (useless, on, 0.61, 120, 8),
    ):
        run = NewTrial(
            kind="unit running",
            room_id=room,
            unit_under_test_id=unit,
            setting_id=setting,
            smoke_source_id=source,
            tested_by="Ada",
        )
        add_trial(session, decay_log(rate, minutes=minutes, seed=seed), "run.csv", run, now=NOW)
    tariff = Tariff(region="here", currency="USD", price_per_kwh=0.16, valid_from=NOW.date())
    session.add(tariff)
    session.flush()
    session.get_one(Bench, 1).tariff_id = tariff.id
    for setting_id, watts in ((high, 12.5), (None, 0.0)):
        new = NewPowerMeasurement(power_w=watts, uncertainty_w=0.1, measured_on=NOW.date())
        add_power_measurement(session, strong, setting_id, new)
