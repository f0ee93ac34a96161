"""Results of trials that follow from decay rate, natural decay and room volume, with their notes."""

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from app.compute.clean_air.empty_room_runs import ChosenRuns
from app.compute.clean_air.rate import clean_air_columns, standard_clearing_times
from app.compute.statistics.measured import Measured
from app.compute.statistics.measured_columns import Floats, MeasuredColumns
from app.compute.statistics.repeatability import Repeatability, with_spread
from app.compute.wording.notes import Note
from app.services.results.natural_decay_pools import PooledForTrial
from app.storage.models.trials import ChannelResult

DERIVED_COLUMNS = tuple(
    column.name
    for column in ChannelResult.__table__.columns
    if column.name.startswith(("pool_id", "clean_air_delivery_rate", "standard_clearing_time"))
)
_NO_TIME = (None,) * 4
_NO_RATE = (None,) * 5


def derived_values(
    totals: Sequence[Measured | None],
    served: Sequence[PooledForTrial | None],
    volumes: Sequence[Measured | None],
    spreads: Sequence[Repeatability | None],
) -> Iterator[tuple[tuple[Any, ...], list[Note]]]:
    """Values of `DERIVED_COLUMNS` from decay rate, natural decay and volume, and their notes, of each result.

    served : natural decay of each; None for an empty-room run, which has no clean air delivery rate
    spreads : of the check unit of each room, which the clean air delivery rate includes
    """
    with_total = [place for place, total in enumerate(totals) if total is not None]
    known = MeasuredColumns.of([total for total in totals if total is not None])
    columns = [_or_none(column) for column in standard_clearing_times(known)]
    times = dict(zip(with_total, zip(*columns, strict=True), strict=True))
    rates = _rates(_with_check_unit(totals, spreads), served, volumes)
    for place, (total, pooled) in enumerate(zip(totals, served, strict=True)):
        notes: list[Note] = [] if pooled is None else list(pooled.choice.notes)
        time = times.get(place, _NO_TIME)
        if total is not None and time[0] is None:
            notes.append(no_standard_time(total))
        rate = rates.get(place)
        if rate is None or pooled is None:
            yield (None, *_NO_RATE, None, *time), notes
            continue
        *columns, measurable, at_most, threshold = rate
        if not measurable:
            notes.append(no_measurable_cleaning(rate[0], threshold, at_most))
        if pooled.choice.number_unlike and pooled.pooled is not None:
            notes.append(_runs_left_out(pooled.choice, pooled.pooled.number_of_runs))
        spread = spreads[place]
        yield (pooled.pool_id, *columns, None if spread is None else spread.relative_sd, *time), notes


def _with_check_unit(
    totals: Sequence[Measured | None], spreads: Sequence[Repeatability | None]
) -> list[Measured | None]:
    return [
        total if total is None or spread is None else with_spread(total, spread)
        for total, spread in zip(totals, spreads, strict=True)
    ]


def _rates(
    totals: Sequence[Measured | None], served: Sequence[PooledForTrial | None], volumes: Sequence[Measured | None]
) -> dict[int, tuple[Any, ...]]:
    """By place: the five columns of the rate, and whether it is measurable, its upper limit and the threshold."""
    places: list[int] = []
    inputs: list[tuple[Measured, Measured, Measured]] = []
    for place, (total, pooled, volume) in enumerate(zip(totals, served, volumes, strict=True)):
        if total is not None and volume is not None and pooled is not None and pooled.pooled is not None:
            places.append(place)
            inputs.append((total, pooled.pooled.on_one_day, volume))
    if not places:
        return {}
    found = clean_air_columns(*(MeasuredColumns.of(column) for column in zip(*inputs, strict=True)))
    rate = found.rate
    columns = (
        rate.value,
        rate.uncertainty,
        np.where(np.isfinite(rate.degrees_of_freedom), rate.degrees_of_freedom, np.nan),
        rate.low_95,
        rate.high_95,
    )
    rows = zip(
        *(_or_none(column) for column in columns),
        found.measurable.tolist(),
        found.at_most.tolist(),
        found.decision_threshold.tolist(),
        strict=True,
    )
    return dict(zip(places, rows, strict=True))


def _or_none(column: Floats) -> list[float | None]:
    """As stored: NULL for not-a-number."""
    return [None if value != value else value for value in column.tolist()]


def no_measurable_cleaning(rate: float, threshold: float, at_most: float) -> Note:
    """Note on a rate that is not distinguishable from zero."""
    return Note(
        "no_measurable_cleaning",
        "care",
        f"No measurable cleaning: {rate:.1f} m³/h cannot be distinguished from zero; the decision threshold is "
        f"{threshold:.1f} m³/h. The rate is at most {at_most:.1f} m³/h.",
        value=rate,
        limit=threshold,
        unit="m³/h",
    )


def no_standard_time(total: Measured) -> Note:
    return Note(
        "no_standard_clearing_time",
        "care",
        f"The decay rate of {total.value:.2f} per hour has an interval from {total.low_95:.2f} to "
        f"{total.high_95:.2f}, which includes zero: the time to 95 % reduction has no upper limit and is not given.",
        value=total.low_95,
        limit=0.0,
        unit="1/h",
    )


def _runs_left_out(choice: ChosenRuns, used: int) -> Note:
    named = "; ".join(f"trial {run.run_id}: {run.reason}" for run in choice.unlike)
    others = choice.number_unlike - len(choice.unlike)
    more = f"; and {others} more" if others else ""
    runs = "1 empty-room run was" if used == 1 else f"{used} empty-room runs were"
    return Note(
        "natural_decay_runs_left_out",
        "fine",
        f"{runs} used and {choice.number_unlike} near in time excluded ({named}{more}).",
        value=float(choice.number_unlike),
    )
