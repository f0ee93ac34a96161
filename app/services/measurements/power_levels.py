"""Power measurements of a unit (spot readings or logs), and its power at each setting and on standby."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.compute.cost_and_energy.power import power_of_log, power_of_spot_readings
from app.compute.cost_and_energy.power_result import LogPower
from app.compute.statistics.measured import Measured
from app.errors import InvalidValue, NotFound
from app.reading_files.log_table import ReadingChoices
from app.services.measurements.definitions import NewPowerMeasurement
from app.services.measurements.delete_entry import delete_entry
from app.services.store.audit import AT_THE_DESK, record_change
from app.services.store.entry_fields import checked_entry
from app.services.units.entry import SUBJECT, get_unit
from app.services.units.speed_settings import setting_of_unit, settings_of
from app.storage.models.bench_measurements import PowerMeasurement
from app.storage.models.units_under_test import SpeedSetting

STANDBY = "standby"
POWER_CHANNEL = "power"
NO_METER = NewPowerMeasurement()


@dataclass(frozen=True, slots=True)
class SettingPower:
    """A setting (None: standby) with its readings and their result."""

    setting: SpeedSetting | None
    measurements: tuple[PowerMeasurement, ...]
    power: Measured | None

    @property
    def name(self) -> str:
        return STANDBY if self.setting is None else self.setting.name


def add_power_measurement(
    session: Session,
    unit_id: int,
    setting_id: int | None,
    new: NewPowerMeasurement,
    *,
    who: str = AT_THE_DESK,
    log_id: int | None = None,
) -> int:
    """Adds a reading of a setting, or of standby if `setting_id` is None, and returns its id."""
    get_unit(session, unit_id)
    name = STANDBY if setting_id is None else setting_of_unit(session, unit_id, setting_id).name
    values = checked_entry(new)
    row = PowerMeasurement(unit_under_test_id=unit_id, setting_id=setting_id, log_id=log_id, **values)
    session.add(row)
    session.flush()
    record_change(session, who, "added", SUBJECT, unit_id, "power", None, _words(row, name))
    return row.id


def add_power_log(
    session: Session,
    unit_id: int,
    setting_id: int | None,
    content: bytes,
    file_name: str,
    *,
    choices: ReadingChoices | None = None,
    meter: NewPowerMeasurement = NO_METER,
    who: str = AT_THE_DESK,
) -> tuple[int, LogPower]:
    """Stores a power log and its time-weighted mean. Returns the id and the mean.

    meter : what is known beside the log: the uncertainty of the meter, its name, who measured, notes
    Raises UnreadableLog where the file is no log, InvalidValue where it holds no power or too little of it.
    """
    from app.reading_files.read_log import read_log  # loaded when used: it needs pandas
    from app.services.logs.store import has_raw_file, store_log  # loaded when used: it needs pandas

    chosen = choices or ReadingChoices()
    table = read_log(content, file_name, chosen)
    if POWER_CHANNEL not in table.levels:
        raise InvalidValue(
            f"{file_name} holds the channels {', '.join(table.levels) or 'none'}; a power column in W is needed. "
            "Select the power column.",
            field="log",
        )
    try:
        found = power_of_log(table.elapsed_s, table.levels[POWER_CHANNEL], meter.uncertainty_w or 0.0)
    except ValueError as error:
        raise InvalidValue(f"{file_name}: {error}", field="log") from None
    seen = has_raw_file(session, table.sha256)
    log_id = store_log(session, content, table, chosen, datetime.now(UTC), seen=seen)
    new = replace(
        meter,
        power_w=found.mean_power.value,
        uncertainty_w=found.mean_power.uncertainty,
        measured_on=table.started_at.date(),
        notes=" ".join((meter.notes, *(note.message for note in found.notes))).strip(),
    )
    return add_power_measurement(session, unit_id, setting_id, new, who=who, log_id=log_id), found


def delete_power_measurement(session: Session, measurement_id: int, *, who: str = AT_THE_DESK, why: str) -> None:
    """Deletes a reading; the record of changes and the log it came from are kept."""
    row = session.get(PowerMeasurement, measurement_id)
    if row is None:
        raise NotFound("power measurement", measurement_id)
    unit_id = row.unit_under_test_id
    name = STANDBY if row.setting_id is None else setting_of_unit(session, unit_id, row.setting_id).name
    delete_entry(session, row, "power", _words(row, name), who=who, why=why)


def power_levels_of_unit(
    session: Session, unit_id: int, settings: Sequence[SpeedSetting] | None = None
) -> tuple[SettingPower, ...]:
    """Every setting of a unit from the slowest, then standby; `power` is None without a measurement.

    settings : those of the unit; they are read if they are not given
    Readings of one setting are repeats on one meter, whose uncertainty does not decrease with their number.
    """
    rows: dict[int | None, list[PowerMeasurement]] = {}
    for row in session.scalars(
        select(PowerMeasurement)
        .where(PowerMeasurement.unit_under_test_id == unit_id)
        .order_by(PowerMeasurement.measured_on, PowerMeasurement.id)
    ):
        rows.setdefault(row.setting_id, []).append(row)
    found = [
        SettingPower(setting, tuple(rows.get(setting.id if setting else None, ())), None)
        for setting in [*(settings or settings_of(session, unit_id)), None]
    ]
    return tuple(replace(entry, power=_mean(entry.measurements)) for entry in found)


def _mean(rows: tuple[PowerMeasurement, ...]) -> Measured | None:
    if not rows:
        return None
    return power_of_spot_readings([row.power_w for row in rows], sum(row.uncertainty_w for row in rows) / len(rows))


def _words(row: PowerMeasurement, setting: str) -> str:
    return f"{setting}, {row.power_w:.4g} W ± {row.uncertainty_w:.2g} W, on {row.measured_on.isoformat()}"
