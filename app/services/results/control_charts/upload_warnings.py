"""Warnings before a run is stored: it is outside the control limits of its room, or the room has shifted."""

from collections.abc import Mapping
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.compute.control_charts.chart import ControlChart, control_chart
from app.compute.control_charts.limits import ChartRun
from app.compute.statistics.measured import Measured
from app.services.logs.trial_fields import NewTrial
from app.services.logs.trial_kinds import EMPTY_ROOM
from app.services.results.control_charts.key import ChartKey
from app.services.results.control_charts.room_charts import Source, natural_chart, periods_of, read_changes
from app.services.results.control_charts.runs import aerosol_of, day_number, natural_runs
from app.services.results.control_charts.words import NATURAL_TERMS, point_words, shift_words
from app.storage.models.bench import Bench

_NOT_STORED = 0  # id of the run that is being previewed


def upload_warnings(
    session: Session, run: NewTrial, started_at: datetime, rates: Mapping[str, Measured]
) -> tuple[str, ...]:
    """Warnings for the main channel, or the first one; none for a room without limits.

    rates : total decay by channel [1/h]
    """
    main = session.scalar(select(Bench.main_channel)) or "pm2_5"
    channel = main if main in rates else next(iter(rates), None)
    if not run.room_id or channel is None:
        return ()
    key = ChartKey(run.room_id, channel, aerosol_of(session, run.smoke_source_id))
    if run.kind != EMPTY_ROOM:
        return _of_shift(natural_chart(Source(session), key))
    rate = rates[channel]
    if not rate.uncertainty > 0:
        return ()
    own = ChartRun(_NOT_STORED, day_number(started_at), rate.value, rate.uncertainty)
    chart = control_chart([*natural_runs(session, key), own], periods_of(read_changes(session, key.room_id)))
    point = next(point for point in chart.points if point.run is own)
    if point.in_reference:
        return ()
    found = []
    if point.outside:
        found.append(
            f"This empty-room run is outside the control chart of the room: {point_words(point, NATURAL_TERMS)}. "
            f"{NATURAL_TERMS.to_do}"
        )
    if point.ewma_outside:
        found += _of_shift(chart)
    return tuple(found)


def _of_shift(chart: ControlChart) -> tuple[str, ...]:
    shift = chart.present_shift
    if shift is None:
        return ()
    words = shift_words(shift, NATURAL_TERMS).replace(f"trial {_NOT_STORED}", "this run")
    return (f"{words} Do an empty-room run beside this trial, and see the control chart of the room.",)
