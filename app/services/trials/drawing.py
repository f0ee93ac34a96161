"""Data of one trial's chart: its curve, its marks in log time, and its title."""

from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.compute.decay.result import ChannelDecay
from app.errors import NotFound
from app.services.adding_trials.preview import LogPreview
from app.services.logs.channel_order import in_order
from app.services.logs.readings import LogReadings, read_readings
from app.services.logs.trial_fields import TrialMarks, check_marks
from app.services.results.stored_decay import stored_channel_decay
from app.services.results.trial_results import analyse_stored_trial
from app.services.trials.decay_curves import DecayCurve
from app.services.trials.detail import TrialDetail, trial_detail
from app.services.trials.unsaved_decay_curve import unsaved_decay_curve


@dataclass(frozen=True, slots=True)
class TrialDrawing:
    """`curve` counts from unit on; the marks are minutes after the first reading, None if missing."""

    curve: DecayCurve
    channel: str
    unit: str
    title: str
    smoke_start_min: float | None
    unit_on_min: float
    end_min: float


def trial_drawing(session: Session, trial_id: int, channel: str = "", marks: TrialMarks | None = None) -> TrialDrawing:
    """A stored trial, with its own or with other marks.

    channel : empty for the first of the trial's channels. Raises NotFound, or InvalidValue for marks that do not fit.
    """
    detail = trial_detail(session, trial_id)
    chosen = channel or next((each.channel for each in detail.channels), "")
    found = detail.channel(chosen)
    if found is None:
        raise NotFound(f"result of trial {trial_id} for the channel", repr(chosen[:40]))
    readings = read_readings(session, detail.trial.log_id, [chosen])
    decay = stored_channel_decay(found.result)
    if marks is not None:
        check_marks(marks, float(readings.elapsed_s[-1]))
        decay = analyse_stored_trial(session, detail.trial, marks).decays[chosen]
    return _drawing(readings, decay, detail)


def log_drawing(preview: LogPreview, channel: str = "") -> TrialDrawing:
    """A staged log. Raises NotFound if it has no channel that is analysed."""
    names = in_order(preview.decays)
    decay = preview.decays.get(channel or next(iter(names), ""))
    if decay is None:
        raise NotFound("particle channel in", preview.log.upload.file_name)
    table = preview.log.table
    return _drawing(LogReadings(table.elapsed_s, table.levels, table.units), decay, None, preview.log.upload.file_name)


def _drawing(
    readings: LogReadings, decay: ChannelDecay, detail: TrialDetail | None, file_name: str = ""
) -> TrialDrawing:
    trial = detail.trial if detail else None
    unit = trial.unit_under_test if trial else None
    setting = trial.setting.name if trial and trial.setting else ""
    name = f"{unit.maker} {unit.model}" if unit else "Empty room" if trial else file_name
    curve = unsaved_decay_curve(
        readings.elapsed_s,
        readings.levels[decay.channel],
        decay,
        name=name,
        kind=trial.kind if trial else "",
        room=trial.room.name if trial else "",
        setting=setting,
        trial_id=trial.id if trial else 0,
        started_at=trial.started_at if trial else None,
    )
    return TrialDrawing(
        curve=curve,
        channel=decay.channel,
        unit=decay.unit,
        title=f"{name}, {setting}" if setting else name,
        smoke_start_min=None if decay.smoke_start_h is None else 60 * decay.smoke_start_h,
        unit_on_min=60 * decay.unit_on_h,
        end_min=60 * decay.end_h,
    )
