"""Clips for listening side by side: all clips, the chosen ones, and the sound pressure at full scale."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session, selectinload

from app.errors import InvalidValue, NotFound
from app.services.measurements.sound_clips import loudest_peak_pa
from app.storage.models.sound_clips import SoundClip
from app.storage.models.units_under_test import SpeedSetting, UnitUnderTest

MOST_CLIPS = 8
SHOWN_BY_DEFAULT = 4


@dataclass(frozen=True, slots=True)
class ListedClip:
    """A clip with the names of its unit and setting."""

    clip: SoundClip
    maker: str
    model: str
    setting: str

    @property
    def name(self) -> str:
        return f"{self.maker} {self.model}, {self.setting}"

    @property
    def calibrated(self) -> bool:
        return self.clip.pascal_per_unit is not None


@dataclass(frozen=True, slots=True)
class Listening:
    """Clips of the bench.

    clips : every clip of a unit outside the trash
    chosen : those to be played together, all calibrated, quietest first
    full_scale_pa : sound pressure at full scale, so that the loudest of them just fits [Pa]
    not_calibrated : number of clips that cannot be compared
    """

    clips: tuple[ListedClip, ...]
    chosen: tuple[ListedClip, ...]
    full_scale_pa: float
    not_calibrated: int


def listening(session: Session, clip_ids: Sequence[int] = ()) -> Listening:
    """The clips of the bench and the chosen ones; by default the loudest calibrated clip of the first units.

    Raises NotFound for an unknown clip; InvalidValue for too many, or for one that is not calibrated.
    """
    rows = session.execute(
        select(SoundClip, UnitUnderTest.maker, UnitUnderTest.model, SpeedSetting.name)
        .join(UnitUnderTest, UnitUnderTest.id == SoundClip.unit_under_test_id)
        .join(SpeedSetting, SpeedSetting.id == SoundClip.setting_id)
        .where(UnitUnderTest.trashed_at.is_(None))
        .options(selectinload(SoundClip.bands), selectinload(SoundClip.tones))
        .order_by(UnitUnderTest.maker, UnitUnderTest.model, SpeedSetting.position, SoundClip.id)
    ).all()
    clips = tuple(ListedClip(clip, maker, model, setting) for clip, maker, model, setting in rows)
    chosen = _chosen(clips, clip_ids)
    return Listening(
        clips=clips,
        chosen=tuple(sorted(chosen, key=lambda entry: entry.clip.equivalent_level_dba)),
        full_scale_pa=loudest_peak_pa([entry.clip for entry in chosen]),
        not_calibrated=sum(not entry.calibrated for entry in clips),
    )


def _chosen(clips: tuple[ListedClip, ...], clip_ids: Sequence[int]) -> list[ListedClip]:
    if not clip_ids:
        loudest: dict[int, ListedClip] = {}
        for entry in clips:
            there = loudest.get(entry.clip.unit_under_test_id)
            if entry.calibrated and (
                there is None or entry.clip.equivalent_level_dba > there.clip.equivalent_level_dba
            ):
                loudest[entry.clip.unit_under_test_id] = entry
        return list(loudest.values())[:SHOWN_BY_DEFAULT]
    wanted = list(dict.fromkeys(clip_ids))
    if len(wanted) > MOST_CLIPS:
        raise InvalidValue(
            f"{len(wanted)} clips were selected; at most {MOST_CLIPS} can be compared. Remove some.",
            field="clip",
        )
    by_id = {entry.clip.id: entry for entry in clips}
    found = []
    for clip_id in wanted:
        if clip_id not in by_id:
            raise NotFound("sound clip", clip_id)
        if not by_id[clip_id].calibrated:
            raise InvalidValue(
                f"Clip {clip_id} is not calibrated, so its relative loudness is not known. Remove it, or add it again "
                "with a calibration tone or a known level.",
                field="clip",
            )
        found.append(by_id[clip_id])
    return found
