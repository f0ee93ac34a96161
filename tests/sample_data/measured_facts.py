"""Facts put straight into the store for tests of what is worked out from them: rates, sound, power, prices."""

from datetime import UTC, date, datetime

from sqlalchemy.orm import Session

from app.services.measurements.definitions import NewPowerMeasurement, NewSoundMeasurement
from app.services.measurements.power_levels import add_power_measurement
from app.services.measurements.sound_levels import add_sound_measurement
from app.storage.models.bench import Bench, Tariff
from app.storage.models.summaries import SettingSummary
from app.storage.models.units_under_test import Price, SpeedSetting, UnitUnderTest

DAY = date(2026, 2, 3)
NOW = datetime(2026, 2, 3, 9, 0, tzinfo=UTC)


def add_unit_with_setting(
    session: Session, model: str, setting: str = "high", **unit_fields: object
) -> tuple[int, int]:
    """A unit of one setting; returns both ids."""
    unit = UnitUnderTest(
        **{"maker": "Maker B", "model": model, "kind": "mechanical filter", "created_at": NOW, **unit_fields}
    )
    session.add(unit)
    session.flush()
    row = SpeedSetting(unit_under_test_id=unit.id, name=setting, position=1, is_highest=True)
    session.add(row)
    session.flush()
    return unit.id, row.id


def add_rate(
    session: Session,
    unit_id: int,
    setting_id: int,
    room_id: int,
    rate: float | None,
    uncertainty: float = 5.0,
    *,
    measurable: bool = True,
    at_most: float | None = None,
    aerosol: str = "smoke",
    channel: str = "pm2_5",
    usable_trials: int = 3,
) -> None:
    """The summary of a setting as `services/results/summaries.py` would keep it, without trials behind it."""
    low = None if rate is None else rate - 1.959963984540054 * uncertainty
    high = None if rate is None else rate + 1.959963984540054 * uncertainty
    session.add(
        SettingSummary(
            unit_under_test_id=unit_id,
            setting_id=setting_id,
            room_id=room_id,
            channel=channel,
            aerosol=aerosol,
            method_version="test",
            computed_at=NOW,
            trials=usable_trials,
            usable_trials=usable_trials,
            excluded_trials=0,
            censored_trials=0,
            latest_trial_id=1,
            latest_trial_on=DAY,
            clean_air_delivery_rate_m3_per_h=rate,
            clean_air_delivery_rate_uncertainty=None if rate is None else uncertainty,
            clean_air_delivery_rate_low_95=low,
            clean_air_delivery_rate_high_95=high,
            measurable=None if rate is None else measurable,
            at_most_m3_per_h=at_most,
        )
    )
    session.flush()


def add_sound(session: Session, unit_id: int, setting_id: int, level: float, **fields: object) -> int:
    values = {"background_dba": 20.0, "distance_m": 1.0, "instrument_class": "2", "measured_on": DAY} | fields
    return add_sound_measurement(session, unit_id, setting_id, NewSoundMeasurement(level_dba=level, **values))


def add_power(session: Session, unit_id: int, setting_id: int | None, watts: float, uncertainty_w: float = 0.2) -> int:
    new = NewPowerMeasurement(power_w=watts, uncertainty_w=uncertainty_w, measured_on=DAY)
    return add_power_measurement(session, unit_id, setting_id, new)


def add_tariff(session: Session, price: float = 0.20, currency: str = "USD", region: str = "here") -> int:
    """A tariff, chosen for the bench."""
    tariff = Tariff(
        region=region, currency=currency, price_per_kwh=price, valid_from=DAY, source="bill", standing="own bill"
    )
    session.add(tariff)
    session.flush()
    bench = session.get(Bench, 1)
    if bench is None:
        bench = Bench(id=1)
        session.add(bench)
    bench.tariff_id = tariff.id
    session.flush()
    return tariff.id


def add_price(session: Session, unit_id: int, amount: float, currency: str = "USD", seen_on: date = DAY) -> None:
    session.add(Price(unit_under_test_id=unit_id, amount=amount, currency=currency, seen_on=seen_on, source="list"))
    session.flush()
