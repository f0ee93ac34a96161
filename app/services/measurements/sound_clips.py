"""Recorded sound of units: stored byte for byte, calibrated, analysed, and played at true relative loudness."""

import hashlib
import math
from collections.abc import Sequence
from datetime import UTC, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session, selectinload

from app.compute.sound.calibration import (
    FULL_SCALE,
    Calibration,
    calibration_from_known_level,
    calibration_from_tone,
)
from app.compute.sound.clip import SoundClip as ClipAnalysis
from app.compute.sound.clip import analyse_clip
from app.errors import AlreadyStored, InvalidValue, NotFound
from app.services.logs.raw_files import keep_raw_file
from app.services.measurements.definitions import NewClip
from app.services.measurements.delete_entry import delete_entry
from app.services.measurements.sound_file import SoundFile, read_sound, wav_bytes
from app.services.store.audit import AT_THE_DESK, record_change
from app.services.store.checked_values import optional_text
from app.services.store.entry_fields import checked_entry, entry_fields
from app.services.units.entry import SUBJECT
from app.services.units.speed_settings import setting_of_unit
from app.storage.models.logs import RawFile
from app.storage.models.sound_clips import SoundClip as SoundClip
from app.storage.models.sound_clips import SoundClipBand, SoundClipTone

MOST_TONES = 10
# what is entered of a clip and stored as it is; its calibration level is stored with the kind of calibration
_ENTERED = tuple(each.name for each in entry_fields(NewClip) if each.name in SoundClip.__table__.columns)


def add_clip(
    session: Session,
    unit_id: int,
    setting_id: int,
    new: NewClip,
    *,
    who: str = AT_THE_DESK,
    now: datetime | None = None,
) -> int:
    """Analyses a clip, stores its bytes and results, and returns its id.

    Raises InvalidValue, naming the field, for a file that is not sound or cannot be calibrated; AlreadyStored if the
    same file is stored for the setting.
    """
    setting = setting_of_unit(session, unit_id, setting_id)
    at = now or datetime.now(UTC)
    values = checked_entry(new)
    sha256 = hashlib.sha256(new.content).hexdigest()
    if session.scalar(select(SoundClip.id).where(SoundClip.setting_id == setting_id, SoundClip.sha256 == sha256)):
        raise AlreadyStored(f"{new.file_name} is already saved for setting {setting.name}.", field="clip")
    sound = read_sound(new.content, new.file_name, channel=new.channel)
    calibration = _calibration(new, sound)
    try:
        found = analyse_clip(sound.samples, sound.sample_rate_hz, calibration)
    except ValueError as error:
        raise InvalidValue(f"{new.file_name}: {error}", field="clip") from None
    keep_raw_file(session, sha256, new.content, at)
    tone_sha256 = None
    if new.tone_content is not None:
        tone_sha256 = hashlib.sha256(new.tone_content).hexdigest()
        keep_raw_file(session, tone_sha256, new.tone_content, at)
    clip = SoundClip(
        unit_under_test_id=unit_id,
        setting_id=setting_id,
        sha256=sha256,
        file_name=optional_text(new.file_name, "clip", "The name of the file", 200) or "clip",
        calibration_kind=calibration.kind if calibration else "none",
        calibration_level_db=calibration.level_db if calibration else None,
        calibration_sha256=tone_sha256,
        calibration_tone_hz=calibration.tone_hz if calibration else None,
        pascal_per_unit=calibration.pascal_per_unit if calibration else None,
        stored_at=at,
        **{name: values[name] for name in _ENTERED},
        **_results(found),
    )
    session.add(clip)
    session.flush()
    _add_spectrum(session, clip.id, found)
    session.flush()
    record_change(session, who, "added", SUBJECT, unit_id, "sound clip", None, _words(clip, setting.name))
    return clip.id


def _add_spectrum(session: Session, clip_id: int, found: ClipAnalysis) -> None:
    for band in found.bands:
        session.add(
            SoundClipBand(clip_id=clip_id, nominal_hz=band.nominal_hz, level_db=band.level_db, level_dba=band.level_dba)
        )
    for rank, tone in enumerate(found.tones[:MOST_TONES], start=1):
        session.add(
            SoundClipTone(
                clip_id=clip_id,
                rank=rank,
                frequency_hz=tone.frequency_hz,
                prominence_ratio_db=min(tone.prominence_ratio_db, 200.0),
                criterion_db=tone.criterion_db,
                prominent=tone.prominent,
            )
        )


def delete_clip(session: Session, clip_id: int, *, who: str = AT_THE_DESK, why: str) -> None:
    """Deletes a clip and its results; the raw file stays in the store, and the record keeps the content."""
    clip = get_clip(session, clip_id)
    setting = setting_of_unit(session, clip.unit_under_test_id, clip.setting_id)
    delete_entry(session, clip, "sound clip", _words(clip, setting.name), who=who, why=why)


def get_clip(session: Session, clip_id: int) -> SoundClip:
    """A clip with its bands and tones. Raises NotFound."""
    clip = session.scalar(
        select(SoundClip)
        .where(SoundClip.id == clip_id)
        .options(selectinload(SoundClip.bands), selectinload(SoundClip.tones))
    )
    if clip is None:
        raise NotFound("sound clip", clip_id)
    return clip


def clips_of_unit(session: Session, unit_id: int) -> Sequence[SoundClip]:
    """Clips of a unit with bands and tones, by setting and day."""
    return session.scalars(
        select(SoundClip)
        .where(SoundClip.unit_under_test_id == unit_id)
        .options(selectinload(SoundClip.bands), selectinload(SoundClip.tones))
        .order_by(SoundClip.setting_id, SoundClip.recorded_on, SoundClip.id)
    ).all()


def loudest_peak_pa(clips: Sequence[SoundClip]) -> float:
    """Largest sound pressure in calibrated clips: full scale when they are played together [Pa]."""
    return max((clip.peak * (clip.pascal_per_unit or 0.0) for clip in clips), default=0.0)


def playable(session: Session, clip_id: int, full_scale_pa: float) -> bytes:
    """The clip as a WAV file with full scale at a given pressure, so that clips with the same pressure keep
    their true relative loudness.

    Raises NotFound, InvalidValue for a clip without calibration or a pressure that is not above zero.
    """
    clip = get_clip(session, clip_id)
    if clip.pascal_per_unit is None:
        raise InvalidValue(
            f"Clip {clip_id} is not calibrated, so its relative loudness is not known. Add it with a calibration tone "
            "or a known level.",
            field="clip",
        )
    if not (math.isfinite(full_scale_pa) and full_scale_pa > 0):
        raise InvalidValue(
            f"Full scale is {full_scale_pa} Pa; it must be above zero. Reload the Listen page.", field="pa"
        )
    content = session.scalar(select(RawFile.content).where(RawFile.sha256 == clip.sha256))
    if content is None:
        raise NotFound("raw file", clip.sha256)
    sound = read_sound(content, clip.file_name, channel=clip.channel)
    return wav_bytes(sound.samples * (clip.pascal_per_unit / full_scale_pa * FULL_SCALE), sound.sample_rate_hz)


def _calibration(new: NewClip, sound: SoundFile) -> Calibration | None:
    if new.tone_content is not None and new.known_level_dba is not None:
        raise InvalidValue(
            "Both a calibration tone and a known level were given. Remove one.",
            field="known_level_dba",
        )
    if new.tone_content is not None:
        if new.tone_level_db is None:
            raise InvalidValue(
                "The calibrator level is missing; enter the level of the recorded tone.", field="tone_level_db"
            )
        name = new.tone_file_name or "calibration tone"
        tone = read_sound(new.tone_content, name, channel=new.channel, field="tone")
        try:
            return calibration_from_tone(tone.samples, tone.sample_rate_hz, new.tone_level_db)
        except ValueError as error:
            raise InvalidValue(f"{name}: {error}", field="tone") from None
    if new.known_level_dba is None:
        return None
    try:
        return calibration_from_known_level(sound.samples, sound.sample_rate_hz, new.known_level_dba)
    except ValueError as error:
        raise InvalidValue(f"{new.file_name}: {error}", field="clip") from None


def _results(found: ClipAnalysis) -> dict[str, object]:
    return {
        "duration_s": found.duration_s,
        "sample_rate_hz": found.sample_rate_hz,
        "equivalent_level_dba": found.equivalent_level_dba,
        "fast_maximum_dba": found.fast_maximum_dba,
        "l10_dba": found.l10_dba,
        "l90_dba": found.l90_dba,
        "peak": found.peak,
        "overloaded": any(note.code == "clip_overloaded" for note in found.notes),
        "tone_method": found.tone_method,
        "character_words": "\n".join(found.character),
        "cautions": "\n".join(note.message for note in found.notes),
    }


def _words(clip: SoundClip, setting: str) -> str:
    unit = "dB(A)" if clip.pascal_per_unit is not None else "dB re full scale"
    return f"{setting}, {clip.file_name}, {clip.equivalent_level_dba:.1f} {unit}, on {clip.recorded_on.isoformat()}"
