"""Results of trials that follow from decay rate, natural decay and room volume, with their notes."""

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.compute.clean_air.empty_room_runs import ChosenRuns
from app.compute.clean_air.rate import CleanAirColumns, clean_air_columns, standard_clearing_times
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


def derived_values(
    totals: MeasuredColumns,
    served: Sequence[PooledForTrial | None],
    volumes: MeasuredColumns,
    spreads: Sequence[Repeatability | None],
) -> Iterator[tuple[tuple[Any, ...], list[Note]]]:
    """Values of `DERIVED_COLUMNS` from decay rate, natural decay and volume, and their notes, of each result.

    totals, volumes : the value is not-a-number where there is none
    served : natural decay of each; None for an empty-room run, which has no clean air delivery rate
    spreads : of the check unit of each room, which the clean air delivery rate includes
    """
    times = standard_clearing_times(totals)
    rated, rates = _rates(_with_check_unit(totals, spreads), served, volumes)
    thresholds = np.stack([rates.at_most, rates.decision_threshold], axis=1).tolist()
    limits = {
        place: both
        for place, both, measurable in zip(rated.tolist(), thresholds, rates.measurable.tolist(), strict=True)
        if not measurable
    }
    rate = rates.rate
    degrees = np.where(np.isfinite(rate.degrees_of_freedom), rate.degrees_of_freedom, np.nan)
    of_rated = (rate.value, rate.uncertainty, degrees, rate.low_95, rate.high_95)
    columns = [*(_spread_out(column, rated, len(served)) for column in of_rated), *times]
    unknown = np.isnan(totals.value).tolist()
    for place, (pooled, values) in enumerate(zip(served, zip(*map(_or_none, columns), strict=True), strict=True)):
        notes: list[Note] = [] if pooled is None else list(pooled.choice.notes)
        if values[-1] is None and not unknown[place]:
            notes.append(no_standard_time(totals.row(place)))
        if pooled is None or values[0] is None:
            yield (None, *values[:5], None, *values[5:]), notes
            continue
        if place in limits:
            at_most, threshold = limits[place]
            notes.append(no_measurable_cleaning(values[0], threshold, at_most))
        if pooled.choice.number_unlike and pooled.pooled is not None:
            notes.append(_runs_left_out(pooled.choice, pooled.pooled.number_of_runs))
        spread = spreads[place]
        yield (pooled.pool_id, *values[:5], None if spread is None else spread.relative_sd, *values[5:]), notes


def _with_check_unit(totals: MeasuredColumns, spreads: Sequence[Repeatability | None]) -> MeasuredColumns:
    uncertainty, degrees = totals.uncertainty.copy(), totals.degrees_of_freedom.copy()
    for place, spread in enumerate(spreads):
        if spread is not None and not math.isnan(totals.value[place]):
            wider = with_spread(totals.row(place), spread)
            uncertainty[place], degrees[place] = wider.uncertainty, wider.degrees_of_freedom
    return MeasuredColumns(totals.value, uncertainty, degrees)


def _rates(
    totals: MeasuredColumns, served: Sequence[PooledForTrial | None], volumes: MeasuredColumns
) -> tuple[NDArray[np.intp], CleanAirColumns]:
    """Clean air delivery rates, and the places of the results that have one."""
    number: dict[int, int] = {}
    days: list[Measured] = []
    pool_of = np.full(len(served), -1)
    for place, pooled in enumerate(served):
        if pooled is None or pooled.pooled is None:
            continue
        if id(pooled.pooled) not in number:  # trials of one pool share it
            number[id(pooled.pooled)] = len(days)
            days.append(pooled.pooled.on_one_day)
        pool_of[place] = number[id(pooled.pooled)]
    rated = np.flatnonzero((pool_of >= 0) & ~np.isnan(totals.value) & ~np.isnan(volumes.value))
    natural = MeasuredColumns.of(days).at(pool_of[rated])
    return rated, clean_air_columns(totals.at(rated), natural, volumes.at(rated))


def _spread_out(column: Floats, places: NDArray[np.intp], length: int) -> Floats:
    found = np.full(length, np.nan)
    found[places] = column
    return found


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
