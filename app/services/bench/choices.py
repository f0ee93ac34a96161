"""Bench-wide choices: clear level, age limit of natural decay, standard distance, cost assumptions."""

from dataclasses import fields, replace

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import InvalidValue, NotFound
from app.services.bench.definitions import BenchChoices
from app.services.store.audit import AT_THE_DESK, record_change
from app.services.store.checked_values import latest_current_day
from app.services.store.clear_level import check_clear_level
from app.services.store.entry_fields import checked_entry
from app.services.store.progress import OnProgress, no_progress
from app.storage.models.bench import Bench, Tariff
from app.storage.models.trials import Trial

SUBJECT = "bench"


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


def use_tariff_if_none(session: Session, tariff_id: int, *, who: str = AT_THE_DESK) -> None:
    """The first tariff entered by hand is used at once, if it is valid and in the currency of the bench."""
    now, tariff = bench_choices(session), session.get(Tariff, tariff_id)
    if now.tariff_id is not None or tariff is None or tariff.currency != now.currency:
        return
    if tariff.valid_from <= latest_current_day():
        change_bench(session, replace(now, tariff_id=tariff_id), who=who)


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
    checked = BenchChoices(**checked_entry(new))
    check_clear_level(checked.clear_level_kind, checked.clear_level_value)
    if checked.tariff_id is not None:
        tariff = session.get(Tariff, checked.tariff_id)
        if tariff is None:
            raise NotFound("tariff", checked.tariff_id)
        if tariff.valid_from > latest_current_day():
            raise InvalidValue(
                f"The tariff of {tariff.region} is valid from {tariff.valid_from.isoformat()}, which is in the "
                "future; the bench needs one that is valid today. Choose another until then.",
                field="tariff_id",
            )
    return checked
