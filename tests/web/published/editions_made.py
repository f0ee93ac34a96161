"""A sequence of editions of a small bench, each after one known change."""

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

from sqlalchemy import Engine
from sqlalchemy.orm import Session

from app.services.adding_trials.add import add_trial
from app.services.logs.trial_fields import NewTrial, TrialMarks
from app.services.measurements.definitions import NewSoundMeasurement
from app.services.measurements.sound_levels import add_sound_measurement
from app.services.publishing.editions import get_edition, moved_in, numbers_of
from app.services.publishing.numbers.moved import MovedNumber
from app.services.publishing.numbers.published_number import PublishedNumber, by_key
from app.services.trials.marks import change_marks, exclude_trial
from app.services.units.definitions import NewPrice
from app.services.units.prices import add_price
from app.storage.engine import session_scope
from app.web.published.publish import Published, publish
from tests.conftest import decay_log

STRONG, NEW_TRIAL, EXCLUDED, CORRECTED = 1, 7, 5, 3
HIGH = 2  # the setting of the strong unit
CHANGES: tuple[Callable[[Session], object] | None, ...] = (
    None,
    lambda session: _new_trial(session),
    lambda session: _price_and_sound(session),
    lambda session: exclude_trial(session, EXCLUDED, who="Ann Example", why="the door stood open"),
    lambda session: change_marks(session, CORRECTED, TrialMarks(unit_on_s=930.0), who="Ann Example", why="typo"),
)


@dataclass(frozen=True, slots=True)
class Made:
    """The editions, with the folder as each left it."""

    engine: Engine
    site: Path
    published: tuple[Published, ...]
    folders: tuple[Path, ...]

    def numbers(self, edition: int) -> dict[str, PublishedNumber]:
        with session_scope(self.engine, writes=False) as session:
            return by_key(numbers_of(session, get_edition(session, edition)))

    def moved(self, edition: int) -> tuple[MovedNumber, ...]:
        with session_scope(self.engine, writes=False) as session:
            return moved_in(session, get_edition(session, edition))


def make_editions(engine: Engine, folder: Path) -> Made:
    """Five editions: the first; a further trial; a price and a sound reading; an exclusion; a corrected mark."""
    published, folders = [], []
    for place, change in enumerate(CHANGES):
        if change is not None:
            with session_scope(engine) as session:
                change(session)
        now = datetime(2026, 4 + place, 1, 9, tzinfo=UTC)
        published.append(publish(engine, folder / "site", workers=1, now=now))
        folders.append(shutil.copytree(folder / "site", folder / f"edition_{len(published)}"))
    return Made(engine, folder / "site", tuple(published), tuple(folders))


def _new_trial(session: Session) -> None:
    run = NewTrial(kind="unit running", room_id=1, unit_under_test_id=STRONG, setting_id=HIGH, smoke_source_id=1)
    assert add_trial(session, decay_log(6.3, seed=21), "third.csv", run) == NEW_TRIAL


def _price_and_sound(session: Session) -> None:
    price = NewPrice(amount=149.0, currency="USD", seen_on=date(2026, 5, 3), source="a shop")
    add_price(session, STRONG, price)
    reading = NewSoundMeasurement(level_dba=41.0, background_dba=24.0, distance_m=1.0, measured_on=date(2026, 5, 4))
    add_sound_measurement(session, STRONG, HIGH, reading)
