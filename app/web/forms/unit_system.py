"""Unit system of a page: cubic metres or cubic feet. Internally everything is metric."""

from dataclasses import dataclass

from app.compute.clean_air.conversions import CUBIC_FEET_PER_MINUTE_PER_M3_PER_H, M2_PER_SQUARE_FOOT
from app.compute.wording.numbers import MeasuredText, measured_text
from app.web.forms.typed_form import TypedForm


@dataclass(frozen=True, slots=True)
class UnitSystem:
    """Symbols and factors from m³/h and m². `key` is the value in the URL."""

    key: str
    flow_symbol: str
    flow_factor: float
    area_symbol: str
    area_factor: float
    area_field: str

    def flow_text(self, value: float, uncertainty: float | None, low: float | None, high: float | None) -> MeasuredText:
        """An air flow given in m³/h, as text in this system."""
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
    """The unit system in the URL; an invalid value is noted in the form, and metric is shown."""
    return unit_system(form.one_of("units", "The unit of measure", (METRIC.key, US.key)))


def unit_system(key: str) -> UnitSystem:
    """The unit system for a key; metric for anything but "us"."""
    return US if key == "us" else METRIC
