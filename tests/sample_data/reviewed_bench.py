"""A bench large enough for places among tested units: eight units with a rate, from weak to strong."""

from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.compute.statistics.measured import Measured
from app.storage.models.trials import NaturalDecayPool
from tests.sample_data import compared_bench
from tests.sample_data.measured_facts import add_power, add_price, add_sound, add_unit_with_setting

# total decay per hour, price, watts; the natural decay of the room is 0.6 per hour
EXTRA = {
    "Fir": (9.0, 120.0, 30.0),
    "Gorse": (3.0, 300.0, 50.0),
    "Hazel": (2.0, 400.0, 60.0),
    "Ivy": (4.0, 180.0, 35.0),
    "Juniper": (5.0, 190.0, 36.0),
}


@dataclass(frozen=True)
class ReviewedBench:
    """Ids by model: those of the compared bench and the extra ones."""

    room_id: int
    units: dict[str, int]
    settings: dict[str, int]


def fill(session: Session) -> ReviewedBench:
    bench = compared_bench.fill(session)
    pool_id = session.query(NaturalDecayPool).one().id
    units, settings = dict(bench.units), dict(bench.settings)
    for model, (total, price, watts) in EXTRA.items():
        units[model], settings[model] = add_unit_with_setting(session, model)
        rate = Measured(total, 0.08)
        compared_bench.add_summary(session, units[model], settings[model], bench.room_id, pool_id, rate)
        add_price(session, units[model], price)
        add_power(session, units[model], settings[model], watts)
        add_sound(session, units[model], settings[model], 58.0 if model == "Hazel" else 30.0, instrument="meter 1")
    session.flush()
    return ReviewedBench(bench.room_id, units, settings)
