"""Bench-wide choices: clear level, age limit of natural decay, standard distance, cost assumptions."""

import re
from dataclasses import dataclass, fields
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.compute.wording.contrast import LINE_CONTRAST, TEXT_CONTRAST, contrast, is_colour
from app.errors import InvalidValue, NotFound
from app.services.logs.trial_fields import check_clear_level
from app.services.store.audit import AT_THE_DESK, record_change
from app.services.store.checked_values import (
    currency_code,
    latest_current_day,
    microphone_distance,
    one_of,
    optional_text,
    required_text,
)
from app.services.store.progress import OnProgress, no_progress
from app.storage.models.bench import Bench
from app.storage.models.tariffs import Tariff
from app.storage.models.trials import Trial

SOUND_CORRECTION_RULES = ("ISO 3744", "ISO 3746", "ISO 1996-2")
SUBJECT = "bench"
_FONT = re.compile(r"[A-Za-z0-9][A-Za-z0-9 -]*")


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchChoices:
    """Choices made once for a bench. The clear level is in µg/m³, or a share of the start level.

    publication, publication_font, publication_ink, publication_accent : branding of downloads; empty: our default
    """

    name: str = "Bench"
    timezone: str = "UTC"
    currency: str = "USD"
    clear_level_kind: str = "absolute"
    clear_level_value: float = 10.0
    standard_distance_m: float = 1.0
    sound_correction_rule: str = "ISO 3746"
    natural_decay_stale_after_days: int = 180
    hours_per_day: float = 24.0
    days_per_year: float = 365.0
    tariff_id: int | None = None
    main_channel: str = "pm2_5"
    publication: str = ""
    publication_font: str = ""
    publication_ink: str = ""
    publication_accent: str = ""


def bench_choices(session: Session) -> BenchChoices:
    """The bench's current choices."""
    bench = session.get(Bench, 1)
    if bench is None:
        return BenchChoices()
    return BenchChoices(**{field.name: getattr(bench, field.name) for field in fields(BenchChoices)})


def change_bench(
    session: Session,
    new: BenchChoices,
    *,
    who: str = AT_THE_DESK,
    why: str = "",
    on_progress: OnProgress = no_progress,
) -> frozenset[str]:
    """Stores the choices that differ, each with a record, and returns their names.

    A new clear level changes the times to clear of every trial without its own, and a new number of days
    changes which natural decays are stale; changed results are recorded.
    """
    checked = _checked(session, new)
    bench = session.get(Bench, 1)
    if bench is None:
        bench = Bench(id=1)
        session.add(bench)
        session.flush()
    changed = set()
    for field in fields(BenchChoices):
        before, after = getattr(bench, field.name), getattr(checked, field.name)
        if before != after:
            setattr(bench, field.name, after)
            record_change(session, who, "changed", SUBJECT, 1, field.name, before, after, why)
            changed.add(field.name)
    session.flush()
    _follow(session, changed, who, why, on_progress)
    return frozenset(changed)


def _follow(session: Session, changed: set[str], who: str, why: str, on_progress: OnProgress) -> None:
    """Updates results after changed choices; the analysis is loaded when used, because it needs scipy."""
    if changed & {"clear_level_kind", "clear_level_value"}:
        from app.services.results.trial_results import reanalyse_trials

        by_default = select(Trial.id).where(Trial.trashed_at.is_(None), Trial.clear_level_kind.is_(None))
        trials = session.scalars(by_default).all()
        reason = why or "the bench clear level was changed"
        reanalyse_trials(session, trials, who=who, why=reason, on_progress=on_progress)
    elif "natural_decay_stale_after_days" in changed:
        from app.services.results.update_derived import update_all_derived_results

        update_all_derived_results(session, who=who, why=why or "the maximum age of an empty-room run was changed")


def _checked(session: Session, new: BenchChoices) -> BenchChoices:
    check_clear_level(new.clear_level_kind, new.clear_level_value)
    if new.tariff_id is not None:
        tariff = session.get(Tariff, new.tariff_id)
        if tariff is None:
            raise NotFound("tariff", new.tariff_id)
        if tariff.valid_from > latest_current_day():
            raise InvalidValue(
                f"The tariff of {tariff.region} is valid from {tariff.valid_from.isoformat()}, which is in the "
                "future; the bench needs one that is valid today. Choose another until then.",
                field="tariff_id",
            )
    if not 1 <= new.natural_decay_stale_after_days <= 36_500:
        raise InvalidValue(
            f"The maximum age of an empty-room run is {new.natural_decay_stale_after_days} days; enter 1 to 36500.",
            field="natural_decay_stale_after_days",
        )
    for field, value, highest, unit in (
        ("hours_per_day", new.hours_per_day, 24, "hours per day"),
        ("days_per_year", new.days_per_year, 366, "days per year"),
    ):
        if not 0 <= value <= highest:
            raise InvalidValue(f"Found {value:g} {unit}; enter a value from 0 to {highest}.", field=field)
    return BenchChoices(
        name=required_text(new.name, "name", "The name of the bench"),
        timezone=_zone(new.timezone),
        currency=currency_code(new.currency),
        clear_level_kind=new.clear_level_kind,
        clear_level_value=new.clear_level_value,
        standard_distance_m=microphone_distance(
            new.standard_distance_m, "standard_distance_m", "The standard distance"
        ),
        sound_correction_rule=one_of(
            new.sound_correction_rule, SOUND_CORRECTION_RULES, "sound_correction_rule", "The rule for the background"
        ),
        natural_decay_stale_after_days=new.natural_decay_stale_after_days,
        hours_per_day=new.hours_per_day,
        days_per_year=new.days_per_year,
        tariff_id=new.tariff_id,
        main_channel=optional_text(new.main_channel, "main_channel", "The main channel", 50) or "pm2_5",
        publication=optional_text(new.publication, "publication", "The name of the publication", 60),
        publication_font=_font(new.publication_font),
        publication_ink=_colour(new.publication_ink, "publication_ink", "The ink", TEXT_CONTRAST),
        publication_accent=_colour(new.publication_accent, "publication_accent", "The accent", LINE_CONTRAST),
    )


def _font(name: str) -> str:
    """A font family name, without characters that could end a CSS rule."""
    font = optional_text(name, "publication_font", "The font", 60)
    if font and not _FONT.fullmatch(font):
        raise InvalidValue(
            f"The font is {font!r}; enter the name of one font family, in letters, digits, spaces and hyphens.",
            field="publication_font",
        )
    return font


def _colour(text: str, field: str, what: str, least_contrast: float) -> str:
    colour = optional_text(text, field, what, 20)
    if not colour:
        return ""
    if not is_colour(colour):
        raise InvalidValue(f"{what} is {colour!r}; enter a colour such as #1c1f26.", field=field)
    found = contrast(colour)
    if found < least_contrast:
        raise InvalidValue(
            f"{what} {colour} has a contrast of {found:.1f} to 1 on white; it needs {least_contrast:g} to 1 to be "
            "readable. Choose a darker colour.",
            field=field,
        )
    return colour.lower()


def _zone(name: str) -> str:
    try:
        return ZoneInfo(name.strip()).key
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise InvalidValue(
            f"The time zone is {name!r}; enter a name such as UTC or Europe/Berlin.", field="timezone"
        ) from None
