"""Photos and documents as lines of a page."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from app.services.measurements.power_levels import SettingPower
from app.services.measurements.sound_levels import SettingLevel
from app.services.units.attachments.attach import attachments_of_trial, attachments_of_unit


@dataclass(frozen=True, slots=True)
class AttachmentLine:
    """One file; `about` says what it belongs to, and `key` is that of a measurement, such as "sound:3"."""

    id: int
    key: str
    is_photo: bool
    file_name: str
    shows: str
    caption: str
    about: str
    taken_on: str
    for_readers: bool
    trial_id: int | None

    @property
    def is_for_readers(self) -> bool:
        return self.is_photo and self.for_readers

    @property
    def alt(self) -> str:
        shows = self.shows.capitalize()
        return f"{shows}: {self.caption}" if self.caption else shows

    @property
    def words(self) -> str:
        """What it shows, of what, and when, in one or two sentences."""
        taken = f", taken on {self.taken_on}" if self.taken_on else ""
        about = f", {self.about}" if self.about else ""
        return f"{self.shows.capitalize()}{about}{taken}. {self.caption}".rstrip()


def measurement_words(sounds: Sequence[SettingLevel], powers: Sequence[SettingPower]) -> dict[str, str]:
    """The sound and power measurements of a unit that a file may belong to: key and words."""
    sound = {
        f"sound:{row.id}": f"sound at {level.setting.name}, {row.level_dba:g}\u00a0dB(A), {row.measured_on}"
        for level in sounds
        for row in level.measurements
    }
    power = {
        f"power:{row.id}": f"power at {level.name}, {row.power_w:.4g}\u00a0W, {row.measured_on}"
        for level in powers
        for row in level.measurements
    }
    return sound | power


def unit_lines(
    session: Session,
    unit_id: int,
    sounds: Sequence[SettingLevel] = (),
    powers: Sequence[SettingPower] = (),
    kind: str = "",
) -> Sequence[AttachmentLine]:
    """Files of a unit and its trials; with `kind`, such as "sound", those of its measurements of that kind.

    sounds, powers : the unit's measurements, which name what a file belongs to
    """
    rows = [row for row in attachments_of_unit(session, unit_id) if _key(row).startswith(kind)]
    measured = measurement_words(sounds, powers)
    return [_line(row, measured.get(_key(row), "the unit")) for row in rows]


def trial_lines(session: Session, trial_id: int) -> Sequence[AttachmentLine]:
    return [_line(row, "") for row in attachments_of_trial(session, trial_id)]


def _key(row: Any) -> str:
    if row.sound_measurement_id is not None:
        return f"sound:{row.sound_measurement_id}"
    return "" if row.power_measurement_id is None else f"power:{row.power_measurement_id}"


def _line(row: Any, about: str) -> AttachmentLine:
    return AttachmentLine(
        id=row.id,
        key=_key(row),
        is_photo=row.kind == "photo",
        file_name=row.file_name,
        shows=row.shows,
        caption=row.caption,
        about=about if row.trial_id is None else f"trial {row.trial_id}",
        taken_on=row.taken_on.isoformat() if row.taken_on else "",
        for_readers=bool(row.for_readers),
        trial_id=row.trial_id,
    )
