"""Monte Carlo draws of measured quantities of many units; shared quantities are drawn once for all units."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.compute.comparison.setting_in_room import SettingInRoom
from app.compute.statistics.measured import Measured

Floats = NDArray[np.float64]

DRAWS = 2_000


@dataclass(frozen=True, slots=True)
class Columns:
    """Values, uncertainties and degrees of freedom of many measured quantities, as columns.

    pooled : columns whose uncertainties come from one spread
    """

    value: Floats
    uncertainty: Floats
    degrees: Floats
    pooled: NDArray[np.bool_]

    @classmethod
    def of(cls, quantities: Sequence[Measured], pooled: Sequence[bool] = ()) -> "Columns":
        return cls(
            np.array([q.value for q in quantities], dtype=np.float64),
            np.array([q.uncertainty for q in quantities], dtype=np.float64),
            np.array([q.degrees_of_freedom for q in quantities], dtype=np.float64),
            np.array(pooled or [False] * len(quantities), dtype=np.bool_),
        )

    def scaled(self, factor: Floats) -> "Columns":
        return Columns(self.value * factor, self.uncertainty * np.abs(factor), self.degrees, self.pooled)

    def draw(self, random: np.random.Generator) -> Floats:
        """Draws (rows) from Student's t of each column; normal where the degrees of freedom are infinite.

        Pooled columns share one deviate of their chi-squares (Wilson and Hilferty's cube, from memory).
        """
        drawn = random.standard_normal((DRAWS, self.value.size))
        common = np.isfinite(self.degrees) & self.pooled
        if common.any():
            ninth = 2.0 / (9.0 * self.degrees[common])
            cube = 1.0 - ninth + random.standard_normal((DRAWS, 1)) * np.sqrt(ninth)
            drawn[:, common] /= np.sqrt(np.maximum(cube, 0.05) ** 3)
        finite = np.isfinite(self.degrees) & ~self.pooled
        if finite.any():
            chi_square = 2.0 * random.standard_gamma(self.degrees[finite] / 2.0, (DRAWS, int(finite.sum())))
            drawn[:, finite] /= np.sqrt(chi_square / self.degrees[finite])
        return self.value + self.uncertainty * drawn


@dataclass(frozen=True, slots=True)
class NaturalDecays:
    """The distinct pooled natural decays, each a weighted combination of independent runs that may be shared.

    of_run : one row for each pool, one column for each run, rows of length one: their products are the correlations
    pool_of : for each setting the index of its pool
    """

    value: Floats
    uncertainty: Floats
    degrees: Floats
    of_run: Floats
    pool_of: NDArray[np.intp]

    @classmethod
    def of(cls, settings: Sequence[SettingInRoom]) -> "NaturalDecays":
        columns, pool_of = distinct_of([(s.pool_id, s.natural_decay) for s in settings])
        runs: dict[int, Sequence[tuple[Hashable, float]]] = {}
        for setting, place in zip(settings, pool_of.tolist(), strict=True):
            # a pool whose runs are not known counts as one run of its own
            runs.setdefault(place, setting.pool_runs or ((("pool", setting.pool_id), 1.0),))
        column_of = {name: number for number, name in enumerate({run: None for r in runs.values() for run, _ in r})}
        of_run = np.zeros((columns.value.size, len(column_of)))
        for place, weighted in runs.items():
            for run, weight in weighted:
                of_run[place, column_of[run]] = weight
        of_run /= np.linalg.norm(of_run, axis=1, keepdims=True)
        return cls(columns.value, columns.uncertainty, columns.degrees, of_run, pool_of)

    def draw(self, random: np.random.Generator) -> Floats:
        """Draws (rows). One chi-square for all pools, with the fewest degrees of freedom, because they share runs."""
        drawn: Floats = random.standard_normal((DRAWS, self.of_run.shape[1])) @ self.of_run.T
        fewest = float(self.degrees.min(initial=np.inf))
        if np.isfinite(fewest):
            drawn /= np.sqrt(2.0 * random.standard_gamma(fewest / 2.0, (DRAWS, 1)) / fewest)
        return self.value + self.uncertainty * drawn

    def variance_of_differences(self, volumes: Floats) -> tuple[Floats, Floats]:
        """Variance of V1 n1 - V2 n2 for each pair of settings, with the fewer degrees of freedom of the two pools."""
        correlation = (self.of_run @ self.of_run.T)[np.ix_(self.pool_of, self.pool_of)]
        correlation[self.pool_of[:, None] == self.pool_of[None, :]] = 1.0  # one pool cancels to the last digit
        one = volumes * self.uncertainty[self.pool_of]
        degrees = self.degrees[self.pool_of]
        variance = one[:, None] ** 2 + one[None, :] ** 2 - 2.0 * correlation * one[:, None] * one[None, :]
        return np.maximum(variance, 0.0), np.minimum(degrees[:, None], degrees[None, :])


def distinct_of(parts: Sequence[tuple[Hashable, Measured]]) -> tuple[Columns, NDArray[np.intp]]:
    """The distinct shared quantities, and the index into them for each setting."""
    distinct: dict[Hashable, Measured] = {}
    for name, quantity in parts:
        if distinct.setdefault(name, quantity) != quantity:
            raise ValueError(f"Two settings share {name!r} but have different values for it; one was needed.")
    place = {name: number for number, name in enumerate(distinct)}
    return Columns.of(list(distinct.values())), np.array([place[name] for name, _ in parts], dtype=np.intp)
