"""Quantities that a maker can claim: the units each comes in, and whether the bench can test it."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from app.compute.clean_air.conversions import M2_PER_SQUARE_FOOT, M3_PER_H_PER_CUBIC_FOOT_PER_MINUTE

_RATE_UNITS = {
    "m³/h": 1.0,
    "m3/h": 1.0,
    "ft³/min": M3_PER_H_PER_CUBIC_FOOT_PER_MINUTE,
    "cfm": M3_PER_H_PER_CUBIC_FOOT_PER_MINUTE,
    "L/s": 3.6,
    "L/min": 0.06,
    "m³/min": 60.0,
    "m3/min": 60.0,
}
_AREA_UNITS = {"m²": 1.0, "m2": 1.0, "ft²": M2_PER_SQUARE_FOOT, "ft2": M2_PER_SQUARE_FOOT, "sq ft": M2_PER_SQUARE_FOOT}


@dataclass(frozen=True, slots=True)
class ClaimQuantity:
    """One kind of claim.

    unit_symbol : unit in which it is compared
    factors : unit as written, and the factor that converts it to `unit_symbol`
    tolerance_share, tolerance : tolerance of an "about" claim: a share of the value, or an amount in `unit_symbol`
        (common practice, no source)
    cannot_test : why the bench cannot test it; empty where it can
    """

    name: str
    words: str
    unit_symbol: str
    factors: Mapping[str, float] = field(hash=False)
    tolerance_share: float = 0.10
    tolerance: float = 0.0
    cannot_test: str = ""

    def in_own_unit(self, value: float, unit_symbol: str) -> float:
        """The value in `unit_symbol` of this quantity; raises ValueError for a unit it does not come in.

        >>> round(QUANTITIES["clean_air_delivery_rate"].in_own_unit(100.0, "cfm"), 1)
        169.9
        """
        known = {name.casefold(): factor for name, factor in self.factors.items()}
        if unit_symbol.strip().casefold() not in known:
            raise ValueError(
                f"The unit of measure {unit_symbol!r} does not fit a claim about {self.words}; choose one of: "
                f"{', '.join(self.factors)}."
            )
        return value * known[unit_symbol.strip().casefold()]


QUANTITIES = {
    quantity.name: quantity
    for quantity in (
        ClaimQuantity("clean_air_delivery_rate", "clean air delivery rate", "m³/h", _RATE_UNITS),
        ClaimQuantity("room_area", "room size", "m²", _AREA_UNITS),
        ClaimQuantity(
            "air_change_time", "time for one air change of a room", "min", {"min": 1.0, "minutes": 1.0, "h": 60.0}
        ),
        ClaimQuantity("air_changes", "air changes per hour in a room", "1/h", {"1/h": 1.0, "per hour": 1.0}),
        ClaimQuantity("sound_level", "sound level", "dB(A)", {"dB(A)": 1.0, "dBA": 1.0, "dB": 1.0}, 0.0, 3.0),
        ClaimQuantity("power", "power", "W", {"W": 1.0, "kW": 1000.0}),
        ClaimQuantity("standby_power", "standby power", "W", {"W": 1.0, "mW": 0.001}, 0.10, 0.1),
        ClaimQuantity("ozone", "ozone output", "ppb", {"ppb": 1.0, "ppm": 1000.0}),
        ClaimQuantity("mass", "mass", "kg", {"kg": 1.0, "g": 0.001, "lb": 0.45359237}),
        ClaimQuantity(
            "filter_life",
            "filter life",
            "months",
            {"months": 1.0, "month": 1.0, "years": 12.0, "h": 12 / 8760},
            cannot_test="Filter life shows over months of use, not in a trial.",
        ),
        ClaimQuantity(
            "removal_efficiency",
            "filter efficiency",
            "%",
            {"%": 1.0},
            cannot_test="Single-pass filter efficiency is not the same as cleaning a room; the bench measures the "
            "room.",
        ),
        ClaimQuantity(
            "germs_removed",
            "germs or viruses removed",
            "%",
            {"%": 1.0},
            cannot_test="The bench works with smoke, dust and pollen; testing germs needs a biological laboratory.",
        ),
        ClaimQuantity(
            "other", "something else", "", {"": 1.0}, cannot_test="The bench has no measurement for this claim."
        ),
    )
}
