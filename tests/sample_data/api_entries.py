"""One invented entry of each kind that the API adds to a unit; each is made from the id of a speed setting."""

from collections.abc import Callable
from typing import Any

DAY = "2026-02-03"

API_ENTRIES: dict[str, Callable[[int], dict[str, Any]]] = {
    "sound-levels": lambda setting_id: {
        "setting_id": setting_id,
        "level_dba": 51.4,
        "background_dba": 33.0,
        "distance_m": 1.0,
        "measured_on": DAY,
        "measured_by": "Tester A",
    },
    "power-levels": lambda setting_id: {
        "setting_id": setting_id,
        "power_w": 38.2,
        "uncertainty_w": 0.4,
        "measured_on": DAY,
        "measured_by": "Tester A",
    },
    "prices": lambda _: {"amount": 249.0, "currency": "usd", "seen_on": DAY, "source": "a shop"},
    "parts": lambda _: {
        "name": "particle filter",
        "life_months": 12,
        "life_source": "manual",
        "price": {"amount": 59.0, "currency": "USD", "seen_on": DAY, "source": "a shop"},
    },
    "claims": lambda setting_id: {
        "wording": "Only 52 dB",
        "quantity": "sound_level",
        "value": 52.0,
        "unit_symbol": "dB(A)",
        "distance_m": 1.0,
        "setting_id": setting_id,
        "where_seen": "box",
        "seen_on": DAY,
    },
    "ratings": lambda _: {
        "aerosol": "smoke",
        "value": 200.0,
        "unit_symbol": "ft³/min",
        "source": "a public list",
        "seen_on": DAY,
    },
    "ozone-tests": lambda _: {"ozone_ppb": 3.0, "below_detection": True, "tested_on": DAY, "source": "own test"},
}
