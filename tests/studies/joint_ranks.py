"""How often the rank intervals of a whole bench hold together, and how many ranks they fix.

    python -m tests.studies.joint_ranks                # full size, about two minutes, writes joint_ranks.txt
    python -m tests.studies.joint_ranks --benches 100  # smaller; prints the table only

Simulated benches with known rates in units of the standard error of one rate. The rates of a bench are drawn from a
normal distribution: "nearly equal" with a standard deviation of a hundredth of a standard error, "similar" of a half,
"spread" of five. Each unit has an estimate of its own error, on the degrees of freedom named; those of "20 degrees"
differ by a factor of up to four. "Shared decay" gives all units one natural decay and one room, both uncertain.

The order of a bench holds where no two units that are told apart truly stand the other way round; its ranks hold where
every unit's true rank lies in its interval. The ranks follow from the order and hold more often: a pair in the wrong
order need not push a true rank out of its interval. Nearly equal units are the hardest case, for a pair that is told
apart is then wrong half the time. A method that is right for them is careful with units that are spread, where the
share approaches 100 %.
"""

import argparse
import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from app.compute.comparison.rank_intervals import RankTable, rank_by_clean_air, rank_by_measured
from app.compute.comparison.setting_in_room import SettingInRoom
from app.compute.statistics.measured import Measured
from tests.studies.simulated_trial import Floats
from tests.studies.study_figures import write_shipped_figures

BENCHES = 300
SEED = 20_260_411
WANTED = 0.93
RESULT = Path(__file__).parent / "tables" / "joint_ranks.txt"
_SPREADS = {"nearly equal": 0.01, "similar": 0.5, "spread": 5.0}


@dataclass(frozen=True, slots=True)
class Case:
    """One kind of bench. degrees : of each unit's standard error, in turn."""

    name: str
    units: int
    spread: str
    degrees: tuple[float, ...] = (math.inf,)
    uneven: bool = False
    shared_decay: bool = False


_KINDS = (
    ("known errors", (math.inf,), False, False),
    ("20 degrees of freedom", (20.0,), True, False),
    ("3 to 30 degrees of freedom", (3.0, 5.0, 10.0, 30.0), False, False),
    ("shared decay, 10 degrees", (10.0,), False, True),
)
CASES = [
    Case(name, units, spread, degrees, uneven, shared)
    for name, degrees, uneven, shared in _KINDS
    for units in (10, 25)
    for spread in _SPREADS
]
# above the size up to which draws are made
CASES.append(Case("20 degrees of freedom", 70, "nearly equal", (20.0,)))


@dataclass(frozen=True, slots=True)
class Outcome:
    """Share of benches of a case of which order and ranks hold, of units alone, and the mean share of ranks fixed."""

    case: Case
    order: float
    ranks: float
    alone: float
    certain: float

    def line(self) -> str:
        shares = (self.order, self.ranks, self.alone, self.certain)
        head = f"{self.case.name:<30}{self.case.units:>6}  {self.case.spread:<13}"
        return head + "".join(f"{100 * share:>10.1f}" for share in shares)


def simulate(case: Case, benches: int) -> Outcome:
    random = np.random.default_rng([SEED, case.units, len(case.degrees), round(10 * _SPREADS[case.spread])])
    found = []
    for _ in range(benches):
        truth = 20.0 + _SPREADS[case.spread] * random.standard_normal(case.units)
        table = (_with_shared_decay if case.shared_decay else _independent)(case, truth, random)
        rank = 1 + (truth[None, :] > truth[:, None]).sum(axis=1)
        held = [row.rank_low_95 <= rank[row.key] <= row.rank_high_95 for row in table.rows]
        fixed = [row.rank_low_95 == row.rank_high_95 for row in table.rows]
        found.append((_order_holds(table, truth), all(held), np.mean(held), np.mean(fixed)))
    return Outcome(case, *(float(share) for share in np.mean(np.array(found, dtype=np.float64), axis=0)))


def _order_holds(table: RankTable, truth: Floats) -> bool:
    """No unit is truly worse than one that ranks after it with a significant difference."""
    keys = [row.key for row in table.rows]
    return all(
        truth[key] > truth[other]
        for place, key in enumerate(keys)
        for other in set(keys[place + 1 :]).difference(table.like(key))
    )


def _errors(case: Case, random: np.random.Generator) -> tuple[Floats, Floats, Floats]:
    """True standard errors, what each bench makes of them, and their degrees of freedom."""
    degrees = np.resize(np.array(case.degrees), case.units)
    true = np.geomspace(0.5, 2.0, case.units) if case.uneven else np.ones(case.units)
    true = random.permutation(true)
    finite = np.where(np.isfinite(degrees), degrees, 1e9)
    return true, true * np.sqrt(random.chisquare(finite) / finite), degrees


def _independent(case: Case, truth: Floats, random: np.random.Generator) -> RankTable:
    true, known, degrees = _errors(case, random)
    seen = truth + true * random.standard_normal(case.units)
    return rank_by_measured({n: Measured(float(v), float(known[n]), float(degrees[n])) for n, v in enumerate(seen)})


def _with_shared_decay(case: Case, truth: Floats, random: np.random.Generator) -> RankTable:
    true, known, degrees = _errors(case, random)
    natural = Measured(float(random.normal(5.0, 1.0)), 1.0)
    room = Measured(30.0, 1.0)
    seen = truth + 5.0 + true * random.standard_normal(case.units)
    return rank_by_clean_air(
        {
            n: SettingInRoom(Measured(float(v), float(known[n]), float(degrees[n])), natural, 1, room, 1)
            for n, v in enumerate(seen)
        }
    )


def report(outcomes: list[Outcome]) -> list[str]:
    head = f"{'bench':<30}{'units':>6}  {'rates':<13}{'order %':>10}{'ranks %':>10}{'alone %':>10}{'certain %':>10}"
    return [
        "order: no pair that is told apart is in the wrong order; ranks: all true ranks lie in their intervals;",
        "alone: one unit's does; certain: share of ranks that are fixed",
        "",
        head,
        *(one.line() for one in outcomes),
        "",
        f"required: {100 * WANTED:.0f} % or more for order and ranks in every row",
        *([f"missed: {one.line()}" for one in outcomes if min(one.order, one.ranks) < WANTED] or ["all met"]),
    ]


def main(show: Callable[[str], object] = print) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--benches", type=int, default=BENCHES)
    benches = parser.parse_args().benches
    lines = [f"python -m tests.studies.joint_ranks --benches {benches}", ""]
    lines += report([simulate(case, benches) for case in CASES])
    show("\n".join(lines))
    if benches == BENCHES:
        RESULT.write_text("\n".join(lines) + "\n", encoding="utf-8")
        write_shipped_figures()


if __name__ == "__main__":
    main()
