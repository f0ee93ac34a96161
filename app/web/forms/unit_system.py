"""Cubic metres or cubic feet: the units a page is read in. Inside the program everything stays metric."""

from dataclasses import dataclass

from app.compute.clean_air.conversions import CUBIC_FEET_PER_MINUTE_PER_M3_PER_H, M2_PER_SQUARE_FOOT
from app.compute.wording.numbers import MeasuredText, measured_text
from app.web.forms.typed_form import TypedForm


@dataclass(frozen=True, slots=True)
class UnitSystem:
    """Symbols and factors from m³/h and m². `key` is what the address says."""

    key: str
    flow_symbol: str
    flow_factor: float
    area_symbol: str
    area_factor: float
    area_field: str

    def flow_text(self, value: float, uncertainty: float | None, low: float | None, high: float | None) -> MeasuredText:
        """An air flow given in m³/h, in words of this system."""
        factor = self.flow_factor
        return measured_text(
            value * factor,
            None if uncertainty is None else uncertainty * factor,
            None if low is None else low * factor,
            None if high is None else high * factor,
        )


METRIC = UnitSystem("metric", "m³/h", 1.0, "m²", 1.0, "room_area_m2")
US = UnitSystem(
    "us",
    "cfm",
    CUBIC_FEET_PER_MINUTE_PER_M3_PER_H,
    "ft²",
    1 / M2_PER_SQUARE_FOOT,
    "room_area_ft2",
)


def units_from_form(form: TypedForm) -> UnitSystem:
    """The system that an address asks for; a wrong word in it is noted in the form, and metric is shown."""
    return unit_system(form.one_of("units", "The system of units", (METRIC.key, US.key)))


def unit_system(key: str) -> UnitSystem:
    """The system of that key; anything but "us" reads as metric."""
    return US if key == "us" else METRIC
