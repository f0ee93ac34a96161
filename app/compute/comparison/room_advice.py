"""Chooses settings that suit a room, within a sound limit and a budget, and their Pareto front."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import chain, product
from operator import itemgetter

from app.compute.clean_air.rate import removal_time_min
from app.compute.clean_air.room_need import RoomNeed
from app.compute.sound.levels import energy_sum
from app.compute.statistics.measured import Measured

STANDARD_SHARE_REMOVED = 0.95
Point = tuple[float, float, float]  # price, sound, minus the rate: less of each is better


@dataclass(frozen=True, slots=True)
class Candidate:
    """One setting of one unit.

    rate : clean air delivery rate; None where it was not measured [m³/h]
    measurable : False where the rate is not distinguishable from zero
    sound_dba : None where not measured; an upper bound counts as the level itself [dB(A)]
    price : None where not recorded, in one currency
    sound_is_estimate, sound_level : the level was converted from another distance; the level with its uncertainty
        [dB(A)]
    """

    unit: str
    setting: str
    rate: Measured | None
    measurable: bool
    sound_dba: float | None
    price: float | None
    setting_id: int = 0
    unit_id: int = 0
    sound_is_upper_bound: bool = False
    sound_is_estimate: bool = False
    sound_level: Measured | None = None


@dataclass(frozen=True, slots=True)
class Wish:
    """The reader's requirements; None: no limit."""

    need: RoomNeed
    max_sound_dba: float | None = None
    max_price: float | None = None


@dataclass(frozen=True, slots=True)
class Fit:
    """A setting that meets the requirements.

    air_changes_per_h : in that room [1/h]
    minutes_to_clear : time to 95 % reduction in that room: well mixed, no source, no natural decay [min]
    sure : even the lower end of the rate's interval is enough for the room
    """

    candidate: Candidate
    air_changes_per_h: Measured
    minutes_to_clear: float
    sure: bool

    @property
    def minutes_interval_95(self) -> tuple[float, float] | None:
        """From the ends of the rate's interval [min]; None where the lower end is not above zero."""
        low, high = self.air_changes_per_h.interval_95
        if not low > 0:
            return None
        return removal_time_min(high, STANDARD_SHARE_REMOVED), removal_time_min(low, STANDARD_SHARE_REMOVED)


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A setting that does not meet the requirements. Each of `fields` is rate, sound or price."""

    candidate: Candidate
    fields: tuple[str, ...]
    wish: Wish

    @property
    def reasons(self) -> tuple[str, ...]:
        """A sentence for each field; written only for the settings that are shown."""
        return tuple(_reason(field, self.candidate, self.wish) for field in self.fields)


@dataclass(frozen=True, slots=True)
class RoomAdvice:
    """Settings that meet the requirements, cheapest first, quieter first at equal price; and the rest with reasons."""

    fits: tuple[Fit, ...]
    left_out: tuple[LeftOut, ...]


def advise(candidates: tuple[Candidate, ...], wish: Wish) -> RoomAdvice:
    """Sort settings into those that meet the requirements and those that do not, with the reasons.

    A setting without a measured rate, sound (where a limit is set) or price (where a budget is set) is left out,
    because it cannot be judged.
    """
    fits, left_out = [], []
    for candidate in candidates:
        failing = _failing(candidate, wish)
        if failing or candidate.rate is None:
            left_out.append(LeftOut(candidate, failing, wish))
            continue
        changes = candidate.rate.times(1 / wish.need.volume_m3)
        fits.append(
            Fit(
                candidate,
                changes,
                removal_time_min(changes.value, STANDARD_SHARE_REMOVED),
                candidate.rate.low_95 >= wish.need.rate_m3_per_h,
            )
        )
    return RoomAdvice(in_order(fits), tuple(left_out))


def advice_of(parts: Sequence[RoomAdvice]) -> RoomAdvice:
    """Joins the advice on several groups of settings, such as one group per unit, in the given order."""
    return RoomAdvice(
        in_order(fit for part in parts for fit in part.fits), tuple(chain.from_iterable(p.left_out for p in parts))
    )


def in_order(fits: Iterable[Fit]) -> tuple[Fit, ...]:
    """Cheapest first; quieter first at equal price."""
    return tuple(sorted(fits, key=_price_and_sound))


def _price_and_sound(fit: Fit) -> tuple[float, float]:
    return _or_infinite(fit.candidate.price), _or_infinite(fit.candidate.sound_dba)


def frontier(candidates: tuple[Candidate, ...]) -> tuple[Candidate, ...]:
    """Settings that no other beats on price, sound and clean air at once.

    One setting beats another where it is not more expensive, louder or weaker, and better in at least one. Settings
    that lack one of the three, or do not clean measurably, are ignored. Sorted by price.

    >>> a = Candidate("a", "high", Measured(200.0, 5.0), True, 50.0, 100.0)
    >>> b = Candidate("b", "high", Measured(190.0, 5.0), True, 51.0, 120.0)
    >>> [candidate.unit for candidate in frontier((a, b))]
    ['a']
    """
    return frontier_of((point, c) for c in candidates if (point := point_of(c)) is not None)


def point_of(candidate: Candidate) -> Point | None:
    """Coordinates of a setting for the Pareto comparison; None where one is missing or no cleaning was measured."""
    return _worse_is_larger(candidate) if _has_all_three(candidate) else None


def frontier_of(points: Iterable[tuple[Point, Candidate]]) -> tuple[Candidate, ...]:
    """As `frontier`, for settings whose points are known already."""
    kept: list[Candidate] = []
    newest: Point | None = None  # the last one accepted; equal points follow each other
    sounds: list[float] = []  # rising; beside each, minus the strongest rate among those no louder
    minus_rates: list[float] = []
    # Most expensive last: whatever beats a setting comes before it, so price need not be checked again.
    for point, candidate in sorted(points, key=itemgetter(0)):
        _, sound, minus_rate = point
        no_louder = bisect_right(sounds, sound)
        if no_louder and minus_rates[no_louder - 1] <= minus_rate and point != newest:
            continue
        kept.append(candidate)
        newest = point
        first = bisect_left(sounds, sound)
        last = first
        while last < len(sounds) and minus_rates[last] >= minus_rate:
            last += 1
        sounds[first:last], minus_rates[first:last] = [sound], [minus_rate]
    return tuple(kept)


def _of_two(level: Measured | None) -> Measured | None:
    """Both share the meter's error, so the sum is as uncertain as each."""
    if level is None:
        return None
    return Measured(energy_sum([level.value] * 2), level.uncertainty, level.degrees_of_freedom)


def two_of(candidate: Candidate) -> Candidate:
    """Two units of one model at the same setting in one room: twice the rate and price, and the summed sound level.

    The rates add up in a well-mixed room; the uncertainty doubles as well, because both share the
    systematic errors of the bench. The sum of two equal sources is 3 dB more, for a listener as far from both.

    >>> pair = two_of(Candidate("a", "low", Measured(200.0, 5.0), True, 40.0, 100.0))
    >>> pair.rate.value, round(pair.sound_dba, 2), pair.price
    (400.0, 43.01, 200.0)
    """
    return replace(
        candidate,
        rate=None if candidate.rate is None else candidate.rate.times(2.0),
        sound_dba=None if candidate.sound_dba is None else energy_sum([candidate.sound_dba] * 2),
        sound_level=_of_two(candidate.sound_level),
        price=None if candidate.price is None else 2 * candidate.price,
    )


def _has_all_three(c: Candidate) -> bool:
    return c.rate is not None and c.measurable and c.sound_dba is not None and c.price is not None


def _worse_is_larger(c: Candidate) -> Point:
    return _or_infinite(c.price), _or_infinite(c.sound_dba), -(c.rate.value if c.rate else 0.0)


def _failing(c: Candidate, wish: Wish) -> tuple[str, ...]:
    """The requirements that a setting fails, or may fail because a value is missing."""
    too_weak = c.rate is None or not c.measurable or c.rate.value < wish.need.rate_m3_per_h
    too_loud = wish.max_sound_dba is not None and (c.sound_dba is None or c.sound_dba > wish.max_sound_dba)
    too_dear = wish.max_price is not None and (c.price is None or c.price > wish.max_price)
    return _FIELDS[too_weak, too_loud, too_dear]


_FIELDS = {
    missed: tuple(name for name, is_missed in zip(("rate", "sound", "price"), missed, strict=True) if is_missed)
    for missed in product((False, True), repeat=3)
}


def _reason(field: str, c: Candidate, wish: Wish) -> str:
    if field == "rate":
        if c.rate is None:
            return "clean air rate not measured"
        if not c.measurable:
            return "no measurable cleaning"
        return f"delivers {c.rate.value:.0f} m³/h; the room needs {wish.need.rate_m3_per_h:.0f}"
    if field == "sound":
        if c.sound_dba is None:
            return "sound not measured"
        bound = "up to " if c.sound_is_upper_bound else ""
        return f"{bound}{c.sound_dba:.0f} dB(A); the limit is {wish.max_sound_dba or 0.0:.0f}"
    if c.price is None:
        return "price not recorded"
    return f"costs {c.price:.0f}; the limit is {wish.max_price or 0.0:.0f}"


def _or_infinite(value: float | None) -> float:
    return float("inf") if value is None else value
