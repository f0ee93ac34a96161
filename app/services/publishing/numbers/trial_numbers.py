"""The published numbers of each trial and channel."""

from collections.abc import Iterator, Mapping, Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.reading_files.headers.channels import channel
from app.services.publishing.numbers.published_number import PublishedNumber, empty_room_runs, significant
from app.services.trials.detail import ChannelDetail, TrialDetail, detail_of, with_everything
from app.storage.models.trials import Trial
from app.storage.models.units_under_test import UnitUnderTest

_BATCH = 200  # trials in memory at one time
KnownNumbers = Mapping[int, Sequence[PublishedNumber]]  # by trial


def trial_numbers(session: Session, known: KnownNumbers) -> Iterator[PublishedNumber]:
    """What the pages of the trials show; trials in the trash, or of a unit there, are not published.

    known : numbers of trials that have not changed since these were read
    """
    wanted = (
        select(Trial.id)
        .outerjoin(UnitUnderTest, UnitUnderTest.id == Trial.unit_under_test_id)
        .where(Trial.trashed_at.is_(None), UnitUnderTest.trashed_at.is_(None))
        .order_by(Trial.id)
    )
    ids = session.scalars(wanted).all()
    for one in ids:
        yield from known.get(one, ())
    changed = [one for one in ids if one not in known]
    for start in range(0, len(changed), _BATCH):
        batch = select(Trial).where(Trial.id.in_(changed[start : start + _BATCH])).order_by(Trial.id)
        for trial in session.scalars(with_everything(batch)):
            yield from _of_trial(detail_of(trial))
        session.expunge_all()


def _of_trial(detail: TrialDetail) -> Iterator[PublishedNumber]:
    trial, unit = detail.trial, detail.trial.unit_under_test
    name = f"{unit.maker} {unit.model}" if unit is not None else "empty room"
    for found in detail.channels:
        result = found.result
        decay = "Natural decay" if unit is None else "Total decay"
        rows = [
            ("total_decay", decay, "1/h", found.total_decay),
            ("start_level", "Start level", result.unit, found.start_level or result.start_level),
            ("standard_clearing_time", "Time to 95 % reduction", "min", found.standard_clearing_time),
            ("time_to_clear", "Time to clear", "min", found.time_to_clear or result.time_to_clear_min),
        ]
        if unit is not None:
            rows += [
                ("natural_decay", "Natural decay", "1/h", found.natural_decay),
                ("clean_air_delivery_rate", "Clean air delivery rate", "m³/h", found.clean_air_delivery_rate),
            ]
        for key, quantity, symbol, measured in rows:
            bound = ""
            if key == "time_to_clear" and measured is None and result.not_cleared_before_min is not None:
                measured, bound = result.not_cleared_before_min, "more than"
            if measured is None:
                continue
            yield PublishedNumber(
                key=f"trial/{trial.id}/{found.channel}/{key}",
                unit_id=None if unit is None else unit.id,
                trial_id=trial.id,
                item=f"Trial {trial.id} ({name})",
                of=channel(found.channel).label,
                quantity=quantity,
                unit_of_measure=symbol,
                **_parts(measured),
                bound=bound,
                trials=(trial.id,),
                based_on=_based_on(detail, found, key),
                method_version=result.method_version,
            )


def _parts(measured: object) -> dict[str, float | None]:
    if isinstance(measured, int | float):
        return {"value": significant(float(measured))}
    names = ("value", "uncertainty", "low_95", "high_95")
    return {name: significant(getattr(measured, name)) for name in names}


def _based_on(detail: TrialDetail, found: ChannelDetail, key: str) -> tuple[tuple[str, str], ...]:
    if key not in ("natural_decay", "clean_air_delivery_rate"):
        return ()
    runs = empty_room_runs(tuple(found.empty_room_trials))
    room = detail.trial.room
    size = f"{room.name}, {room.room_volume_m3:g} ± {room.room_volume_uncertainty_m3:g} m³"
    return (*runs, ("room", size)) if key == "clean_air_delivery_rate" else runs
