"""Weighted ranking over several quantities with the reader's own weights, and its sensitivity to them.

There is no right set of weights. The order is the reader's, not the bench's, and is shown with its weights.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

NORMALISATION = (
    "Each quantity is scaled linearly from 0 for the worst to 1 for the best of the units shown; the ranking follows "
    "the weighted mean."
)

# Changes made to each weight, one at a time, to show how sensitive the order is to it.
WEIGHT_CHANGES = (("without", 0.0), ("halved", 0.5), ("doubled", 2.0))


@dataclass(frozen=True, slots=True)
class WeightedQuantity:
    """One quantity of all units, in one unit of measure, in the order of the units.

    weight : zero or above; only its share of all weights counts
    values : None for a unit without a value
    """

    name: str
    weight: float
    higher_is_better: bool
    values: tuple[float | None, ...]


@dataclass(frozen=True, slots=True)
class Movement:
    """The order with one weight changed. `places` is parallel to the rows of the order."""

    quantity: str
    change: str
    places: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class WeightedRow:
    """One unit in the weighted ranking.

    place : 1 for the first; units with equal means share the better place
    mean : weighted mean of the normalised quantities, 0 to 1
    parts : share of each quantity in the mean, in the order of the quantities
    highest_place, lowest_place : over all changes of weights shown
    """

    key: int
    place: int
    mean: float
    parts: tuple[float, ...]
    highest_place: int
    lowest_place: int


@dataclass(frozen=True, slots=True)
class WeightedOrder:
    """rows : in order. movements : one for each quantity with a weight and each change.
    without_place : units that lack a weighted quantity, each with the names of the missing quantities.
    """

    rows: tuple[WeightedRow, ...]
    movements: tuple[Movement, ...]
    without_place: tuple[tuple[int, tuple[str, ...]], ...]


def weighted_order(keys: Sequence[int], quantities: Sequence[WeightedQuantity]) -> WeightedOrder:
    r"""Rank units by the reader's weights.

    .. math:: m_j = \frac{\sum_q w_q s_{qj}}{\sum_q w_q}, \qquad
              s_{qj} = \frac{x_{qj} - \text{weakest}_q}{\text{strongest}_q - \text{weakest}_q}

    Parameters
    ----------
    keys : of the units
    quantities : at least one with a weight above zero

    Returns
    -------
    Units that have every quantity with a weight, in order. A quantity in which all are equal counts 0 for all. With
    one weight removed the rest keep their ratios; with the only weight removed nothing is left and it is not shown.

    Raises
    ------
    ValueError if no weight is above zero, one is below zero or not a number, or a quantity lacks a unit.

    Notes
    -----
    The scale of each quantity depends on the units shown: adding a very weak unit moves the others closer together.
    The method is a plain weighted mean after range scaling, common practice without a single source.

    >>> order = weighted_order([1, 2], [WeightedQuantity("clean air", 3, True, (100.0, 300.0)),
    ...                                 WeightedQuantity("sound", 1, False, (40.0, 60.0))])
    >>> [(row.key, row.place, row.mean) for row in order.rows]
    [(2, 1, 0.75), (1, 2, 0.25)]
    """
    _check(keys, quantities)
    weights = np.array([q.weight for q in quantities], dtype=np.float64)
    lacking = [
        tuple(q.name for q in quantities if q.weight > 0 and q.values[number] is None) for number in range(len(keys))
    ]
    placed = [number for number, names in enumerate(lacking) if not names]
    without = tuple((keys[number], names) for number, names in enumerate(lacking) if names)
    if not placed:
        return WeightedOrder((), (), without)
    scaled = np.array([_normalised(q, placed) for q in quantities])
    parts = scaled * (weights / weights.sum())[:, None]
    mean = parts.sum(axis=0)
    order = np.argsort(-mean, kind="stable")
    movements = _movements(quantities, weights, scaled[:, order])
    place = _places(mean[order])
    everywhere = np.array([place, *(movement.places for movement in movements)])
    rows = tuple(
        WeightedRow(
            key=keys[placed[index]],
            place=int(place[position]),
            mean=float(mean[index]),
            parts=tuple(parts[:, index].tolist()),
            highest_place=int(everywhere[:, position].min()),
            lowest_place=int(everywhere[:, position].max()),
        )
        for position, index in enumerate(order)
    )
    return WeightedOrder(rows, movements, without)


def _check(keys: Sequence[int], quantities: Sequence[WeightedQuantity]) -> None:
    for quantity in quantities:
        if not (np.isfinite(quantity.weight) and quantity.weight >= 0):
            raise ValueError(f"The weight of {quantity.name} is {quantity.weight}; it must be zero or above.")
        if len(quantity.values) != len(keys):
            raise ValueError(
                f"{quantity.name} has {len(quantity.values)} values for {len(keys)} units; each needs one, or None."
            )
    if not any(quantity.weight > 0 for quantity in quantities):
        raise ValueError("Every weight is zero; a ranking needs at least one weight above zero.")


def _normalised(quantity: WeightedQuantity, placed: Sequence[int]) -> Floats:
    """Scaled from 0 (weakest) to 1 (strongest of the ranked units); all 0 without a weight or a spread."""
    zeros = np.zeros(len(placed))
    if quantity.weight == 0:
        return zeros
    values = np.array([quantity.values[number] for number in placed], dtype=np.float64)
    if not quantity.higher_is_better:
        values = -values
    spread = values.max() - values.min()
    scaled: Floats = (values - values.min()) / spread if spread > 0 else zeros
    return scaled


def _movements(quantities: Sequence[WeightedQuantity], weights: Floats, scaled: Floats) -> tuple[Movement, ...]:
    movements = []
    for number, quantity in enumerate(quantities):
        if quantity.weight == 0:
            continue
        for change, factor in WEIGHT_CHANGES:
            changed = weights.copy()
            changed[number] *= factor
            if changed.sum() == 0:
                continue
            mean = (changed / changed.sum()) @ scaled
            movements.append(Movement(quantity.name, change, tuple(_places(mean).tolist())))
    return tuple(movements)


def _places(mean: Floats) -> NDArray[np.int64]:
    """Place of each, 1 for the highest mean; equal means, to nine digits, share the better place."""
    rounded = np.round(mean, 9)
    places: NDArray[np.int64] = 1 + (rounded[None, :] > rounded[:, None]).sum(axis=1)
    return places
