"""Rehearses a restore: opens a backup as a bench of its own, checks it, and recomputes a sample of its results."""

import random
import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import select

from app.compute.method import METHOD_VERSION
from app.errors import StoreProblem
from app.services.logs.logger_noise import noise_by_trial
from app.services.results.recompute import Difference, plan_recompute
from app.services.store.backup import restore_store
from app.services.store.check import Finding, check_store
from app.services.store.open import open_store
from app.services.store.progress import OnProgress
from app.settings import Settings
from app.storage.engine import session_scope
from app.storage.models.trials import ChannelResult, Trial

SAMPLE = 10  # trials


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """What a rehearsed restore found.

    rows : of the main tables; trials : analysed again, of all_trials; differences : results that came out otherwise
    slight : results that differ by no more than another processor's arithmetic might
    findings : of the check of the restored store
    older_method : trials of the sample whose results another method made, so that differences are expected
    """

    rows: dict[str, int]
    trials: int
    all_trials: int
    differences: tuple[Difference, ...]
    slight: int
    findings: tuple[Finding, ...]
    older_method: int

    @property
    def sound(self) -> bool:
        return not self.differences and not any(finding.wrong for finding in self.findings)


def rehearse_restore(copy: Path, on_progress: OnProgress | None = None) -> Rehearsal:
    """Restores a copy into a temporary folder, as `hazefall restore` would, and compares.

    Raises StoreProblem where the copy is damaged, or the disk has no room for it.
    """
    needed = copy.stat().st_size if copy.is_file() else 0
    if shutil.disk_usage(tempfile.gettempdir()).free < 3 * needed:
        raise StoreProblem(
            f"{tempfile.gettempdir()} has no room for a restored copy of {needed / 1e6:.0f} MB. Make room, or set "
            "TMPDIR to another folder."
        )
    with tempfile.TemporaryDirectory(prefix="hazefall-rehearsal-") as folder:
        settings = Settings(Path(folder) / "bench")
        rows = restore_store(settings, copy).rows
        engine = open_store(settings, on_progress)
        try:
            findings = check_store(engine, on_progress).findings
            with session_scope(engine, writes=False) as session:
                trials = list(session.scalars(select(Trial.id).where(Trial.trashed_at.is_(None)).order_by(Trial.id)))
                chosen = sorted(random.Random(1).sample(trials, min(SAMPLE, len(trials))))
                older = session.scalars(
                    select(ChannelResult.trial_id)
                    .where(ChannelResult.trial_id.in_(chosen), ChannelResult.method_version != METHOD_VERSION)
                    .distinct()
                ).all()
                noise = noise_by_trial(session)
            plan = plan_recompute(engine, on_progress, workers=1, trial_ids=chosen, noise_by_trial=noise)
        finally:
            engine.dispose()
    return Rehearsal(rows, len(chosen), len(trials), plan.differences, plan.slight, findings, len(older))
