"""Compares the results in a data package with those recomputed from its raw files."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.compute.signal.logger_noise import EVIDENCE_STEP
from app.compute.statistics.repeatability import ASSUMED_BETWEEN_TRIALS, Repeatability
from app.services.data_package.open import FILLED_IN, OpenPackage
from app.services.data_package.overview import OVERVIEW_FIELDS, OVERVIEW_KEYS, overview_rows
from app.services.data_package.tables import packaged_columns, values_from, written
from app.services.logs.logger_noise import numbers_of
from app.services.results.repeatability import FIGURES, refresh_repeatability
from app.services.results.rows import SAME_WITHIN, size_of
from app.services.results.summaries import summary_values
from app.services.results.summary_trials import GroupKey, read_pools, read_summary_trials
from app.storage.models.summaries import BenchRepeatability, SettingSummary
from app.storage.models.trials import ChannelResult, NaturalDecayPool, NaturalDecayPoolRun

SHOWN = 40
# Row ids are assigned anew; the method version is compared once, for the whole package.
_NOT_COMPARED = {"id", "pool_id", "method_version", "computed_at", "noise_learned"}
Key = tuple[str, ...]
Rows = Mapping[Key, Mapping[str, str]]


@dataclass(frozen=True, slots=True)
class _Part:
    """One table of results: its key columns and its label."""

    path: str
    keys: tuple[str, ...]
    what: str


_RESULTS = _Part("results/channel_results.csv", ("trial_id", "channel"), "trial {0}, {1}")
_SUMMARIES = _Part(
    "results/setting_summaries.csv",
    ("setting_id", "room_id", "channel", "aerosol"),
    "setting {0} in room {1}, {2} of {3}",
)
_OVERVIEW = _Part("results/overview.csv", OVERVIEW_KEYS, "overview of setting {0} in room {1}, {2} of {3}")


def compare_results(session: Session, package: OpenPackage) -> dict[str, int]:
    """Compares results, pools, summaries and overview; returns how many numbers of each were compared."""
    _write_summaries_again(session, package)
    counted = {
        "pools": _compare_pools(session, package),
        "results": _compare(package, _RESULTS, _stored(session, ChannelResult, _RESULTS.keys)),
        "summaries": _compare(package, _SUMMARIES, _stored(session, SettingSummary, _SUMMARIES.keys)),
    }
    names = [field.name for field in OVERVIEW_FIELDS]
    fresh = [dict(zip(names, map(written, row), strict=True)) for row in overview_rows(session)]
    counted["published"] = _compare(package, _OVERVIEW, _keyed(fresh, OVERVIEW_KEYS))
    return {f"numbers_of_{name}": number for name, number in counted.items()}


def _write_summaries_again(session: Session, package: OpenPackage) -> None:
    """Recomputes summaries with the repeatability in the package; for a whole bench, that figure is checked too."""
    records = package.records("results/bench_repeatability.csv")
    given = [values_from("bench_repeatability", record) for record in records]
    if package.about.get("whole_bench"):
        _check_repeatability(session, package, given)
    lent = {row["channel"]: Repeatability(**{name: row[name] for name in FIGURES}) for row in given}
    rows = {
        GroupKey(row.setting_id, row.room_id, row.aerosol, row.channel): row
        for row in session.scalars(select(SettingSummary)).all()
    }
    groups = read_summary_trials(session)
    settings = [(trials, lent.get(key.channel, ASSUMED_BETWEEN_TRIALS)) for key, trials in groups.items()]
    for key, values in zip(groups, summary_values(settings, read_pools(session)), strict=True):
        for name, value in values.items():
            setattr(rows[key], name, value)
    session.flush()
    session.expire_all()


def _check_repeatability(session: Session, package: OpenPackage, given: Sequence[dict[str, Any]]) -> None:
    with session.begin_nested() as trial:
        session.query(BenchRepeatability).delete()
        fresh, _ = refresh_repeatability(session, FILLED_IN)
        trial.rollback()
    session.expire_all()
    for row in given:
        now = fresh.get(row["channel"])
        if now is None or not math.isclose(now.relative_sd, row["relative_sd"], rel_tol=SAME_WITHIN):
            package.wrong(
                "repeatability",
                f"Repeats of {row['channel']} differ by {'nothing known' if now is None else f'{now.relative_sd:.4g}'} "
                f"of the rate; the package says {row['relative_sd']:.4g}.",
            )


def _compare_pools(session: Session, package: OpenPackage) -> int:
    """Compares pools, identified by their runs and week. Only those in the package are checked, because a store may
    hold unused ones.
    """
    members: dict[str, list[int]] = {}
    for record in package.records("results/natural_decay_pool_runs.csv"):
        members.setdefault(record["pool_id"], []).append(int(record["trial_id"]))
    runs: dict[int, list[int]] = {}
    for pool_id, trial_id in session.execute(select(NaturalDecayPoolRun.pool_id, NaturalDecayPoolRun.trial_id)):
        runs.setdefault(pool_id, []).append(trial_id)
    fresh: dict[Key, dict[str, str]] = {
        (str(pool.room_id), pool.channel, " ".join(map(str, sorted(runs.get(pool.id, [])))), written(pool.week_of)): (
            _as_text(pool)
        )
        for pool in session.scalars(select(NaturalDecayPool)).all()
    }
    packaged: dict[Key, dict[str, str]] = {
        (row["room_id"], row["channel"], " ".join(map(str, sorted(members.get(row["id"], [])))), row["week_of"]): row
        for row in package.records("results/natural_decay_pools.csv")
    }
    return _compare_rows(
        package, "results/natural_decay_pools.csv", "pool of room {0}, {1}, runs {2}, week of {3}", packaged, fresh
    )


def _stored(session: Session, model: Any, keys: Sequence[str]) -> dict[Key, dict[str, str]]:
    return _keyed([_as_text(row) for row in session.scalars(select(model)).all()], keys)


def _as_text(row: Any) -> dict[str, str]:
    return {column.name: written(getattr(row, column.name)) for column in packaged_columns(row.__tablename__)}


def _keyed(rows: Sequence[dict[str, str]], keys: Sequence[str]) -> dict[Key, dict[str, str]]:
    return {tuple(row[name] for name in keys): row for row in rows}


def _compare(package: OpenPackage, part: _Part, fresh: Rows) -> int:
    return _compare_rows(package, part.path, part.what, _keyed(package.records(part.path), part.keys), fresh)


def _compare_rows(package: OpenPackage, path: str, what: str, packaged: Rows, fresh: Rows) -> int:
    """Compares row by row and field by field; reports the largest differences and counts the rest."""
    compared, differences = 0, []
    for key, row in packaged.items():
        name = what.format(*key)
        again = fresh.get(key)
        if again is None:
            package.wrong(path, f"{path}: {name} is not reproduced from the raw files.")
            continue
        for column, text in row.items():
            if column in _NOT_COMPARED or column not in again:
                continue
            compared += 1
            step = EVIDENCE_STEP if column == "noise_evidence" else 0.0
            apart = _apart(text, again[column], size_of(column, again), step)
            if apart:
                differences.append((apart, f"{path}: {name}, {column}: the package has {text or 'nothing'}, the raw "
                                           f"files give {again[column] or 'nothing'}."))  # fmt: skip
    for key in fresh.keys() - packaged.keys():
        if path != "results/natural_decay_pools.csv":
            package.wrong(
                path, f"{path}: {what.format(*key)} is reproduced from the raw files but is not in the package."
            )
    differences.sort(key=lambda pair: (-pair[0], pair[1]))
    for _, message in differences[:SHOWN]:
        package.wrong(path, message)
    if len(differences) > SHOWN:
        package.wrong(path, f"{path}: and {len(differences) - SHOWN} smaller differences.")
    return compared


def _apart(one: str, other: str, size: float = 0.0, step: float = 0.0) -> float:
    """Relative difference of two cells; 0 if equal, infinite for different texts and for what is no number. Of cells
    with several numbers the largest. size : as in `size_of`; step : to which the numbers are rounded

    >>> _apart("1.5", "1.50001"), _apart("a", "b"), _apart("", "2"), _apart("2.0", "1.0"), _apart("nan", "5.0")
    (0.0, inf, inf, 0.5, inf)
    >>> _apart("-1.7 0", "-1.8 0", step=0.1), _apart("-1.5 0", "-3 0", step=0.1), _apart("1 2", "1")
    (0.0, 0.5, inf)
    >>> _apart("20000", "20001") > 0
    True
    """
    if one == other:
        return 0.0
    try:
        pairs = list(zip(numbers_of(one), numbers_of(other), strict=True))
    except ValueError:
        return math.inf
    if not all(math.isfinite(number) for pair in pairs for number in pair):
        return math.inf
    share = max((abs(a - b) / max(abs(a), abs(b), size) for a, b in pairs if abs(a - b) > 1.01 * step), default=0.0)
    is_count = one.isdecimal() and other.isdecimal()  # of which no processor changes any
    return share if is_count or share > SAME_WITHIN else 0.0
