"""Units as loggers write them, and their conversion to the unit of a channel.

Sources: gas and mass factors are decimal prefixes; 1 ft = 0.3048 m, 1 lb/in² = 6894.757 Pa, 1 inHg = 3386.389 Pa,
1 inH2O (4 °C) = 249.0889 Pa, 1 mmHg = 133.3224 Pa, 1 atm = 101 325 Pa (NIST SP 811, appendix B.8, from memory).
"""

import re
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Conversion:
    """level = value * factor + offset, in `unit`."""

    factor: float
    offset: float
    unit: str


CUBIC_FOOT_CM3 = 30.48**3

# quantity: spelling of the unit, after `plain_unit` -> (factor, offset), into the channel unit of that quantity
_MASS = {"ug/m3": (1.0, 0.0), "mg/m3": (1e3, 0.0), "ng/m3": (1e-3, 0.0), "g/m3": (1e6, 0.0)}
_NUMBER = {
    "/cm3": (1.0, 0.0),
    "/l": (1e-3, 0.0),
    "/0.1l": (1e-2, 0.0),
    "/100ml": (1e-2, 0.0),
    "/dl": (1e-2, 0.0),
    "/m3": (1e-6, 0.0),
    "/ft3": (1 / CUBIC_FOOT_CM3, 0.0),
    "/0.01ft3": (100 / CUBIC_FOOT_CM3, 0.0),
}
_TEMPERATURE = {"c": (1.0, 0.0), "f": (5 / 9, -160 / 9), "k": (1.0, -273.15)}
_HUMIDITY = {"%": (1.0, 0.0)}
_PRESSURE = {
    "hpa": (1.0, 0.0),
    "mbar": (1.0, 0.0),
    "pa": (0.01, 0.0),
    "kpa": (10.0, 0.0),
    "bar": (1000.0, 0.0),
    "inhg": (33.86389, 0.0),
    "mmhg": (1.333224, 0.0),
    "inh2o": (2.490889, 0.0),
    "psi": (68.94757, 0.0),
    "atm": (1013.25, 0.0),
}
_FRACTION = {"ppm": (1.0, 0.0), "ppb": (1e-3, 0.0), "ppt": (1e-6, 0.0)}
_POWER = {"w": (1.0, 0.0), "kw": (1e3, 0.0), "mw": (1e-3, 0.0)}
_ENERGY = {"kwh": (1.0, 0.0), "wh": (1e-3, 0.0)}
_VOLTAGE = {"v": (1.0, 0.0), "mv": (1e-3, 0.0), "kv": (1e3, 0.0)}
_CURRENT = {
    "a": (1.0, 0.0),
    "ma": (1e-3, 0.0),
    "ua": (1e-6, 0.0),
    "na": (1e-9, 0.0),
    "pa": (1e-12, 0.0),
    "fa": (1e-15, 0.0),
}
_DECIBEL = {"db": (1.0, 0.0)}
_SOUND = {"db(a)": (1.0, 0.0), "db": (1.0, 0.0)}

_QUANTITY_OF_UNIT = {
    "µg/m³": _MASS,
    "1/cm³": _NUMBER,
    "°C": _TEMPERATURE,
    "%": _HUMIDITY,
    "hPa": _PRESSURE,
    "ppm": _FRACTION,
    "W": _POWER,
    "kWh": _ENERGY,
    "V": _VOLTAGE,
    "A": _CURRENT,
    "dB(A)": _SOUND,
    "dB": _DECIBEL,
    "µm²/cm³": {"um2/cm3": (1.0, 0.0)},
}

_HOW_IT_IS_SHOWN = {
    "ug/m3": "µg/m³",
    "mg/m3": "mg/m³",
    "ng/m3": "ng/m³",
    "g/m3": "g/m³",
    "/cm3": "1/cm³",
    "/l": "1/L",
    "/0.1l": "1/0.1 L",
    "/100ml": "1/0.1 L",
    "/dl": "1/0.1 L",
    "/m3": "1/m³",
    "/ft3": "1/ft³",
    "/0.01ft3": "1/0.01 ft³",
    "c": "°C",
    "f": "°F",
    "k": "K",
    "hpa": "hPa",
    "pa": "Pa",
    "kpa": "kPa",
    "inhg": "inHg",
    "mmhg": "mmHg",
    "inh2o": "inH2O",
    "w": "W",
    "kw": "kW",
    "mw": "mW",
    "kwh": "kWh",
    "wh": "Wh",
    "v": "V",
    "mv": "mV",
    "a": "A",
    "ma": "mA",
    "db(a)": "dB(A)",
    "db": "dB",
    "um2/cm3": "µm²/cm³",
    "um": "µm",
    "hz": "Hz",
    "lpm": "L/min",
}

_TIME_UNITS_S = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds", "sek", "sekunden", "secondes", "segundos"), 1.0),
    **dict.fromkeys(("ms", "millis", "milliseconds", "millisecond", "msec"), 1e-3),
    **dict.fromkeys(("min", "mins", "minute", "minutes", "minuten", "minutos"), 60.0),
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours", "std", "stunden", "heures", "horas"), 3600.0),
    **dict.fromkeys(("d", "day", "days", "tage", "jours", "dias"), 86400.0),
}

_COUNTED = re.compile(
    r"^(?:#|n|no|nr|p|pt|pts|pcs|pc|part|parts|particles?|particulates|counts?|cnts?|cts|1)?/"
    r"(0\.1|0\.01|100|1)?(cm3|cc|ml|l|liter|litre|dl|m3|cf|ft3)$"
)
_SPELLINGS = {
    "degc": "c",
    "celsius": "c",
    "degf": "f",
    "fahrenheit": "f",
    "degk": "k",
    "kelvin": "k",
    "percent": "%",
    "pct": "%",
    "%rh": "%",
    "rh%": "%",
    "%r.h.": "%",
    "%rf": "%",
    "%hr": "%",
    "perc": "%",
    "mb": "mbar",
    "millibar": "mbar",
    "hectopascal": "hpa",
    "dba": "db(a)",
    "db[a]": "db(a)",
    "watt": "w",
    "watts": "w",
    "volt": "v",
    "volts": "v",
    "amp": "a",
    "amps": "a",
    "inhh2o": "inh2o",
    "mcg/m3": "ug/m3",
    "l/min": "lpm",
}


def plain_unit(text: str) -> str:
    """One spelling for the many ways to write a unit.

    >>> [plain_unit(text) for text in ("µg/m³", "ug m-3", "UG/M^3", "#/ccm", "particles per litre", "°F", "dBA")]
    ['ug/m3', 'ug/m3', 'ug/m3', '/cm3', '/l', 'f', 'db(a)']
    """
    plain = text.strip().lower().translate(str.maketrans("µμ³²₂º·*", "uu322°  "))
    plain = plain.replace("^", "").replace("**", "").replace(" per ", "/").replace("°", "")
    plain = re.sub(r"([a-z])\s+(c?m|l|ft)\s*-\s*([13])\b", _negative_power, plain)
    plain = re.sub(r"^#?\s*(c?m|l|ft)\s*-\s*([13])$", lambda found: f"/{found[1]}{_power(found[2])}", plain)
    plain = re.sub(r"[\s_]+", "", plain)
    plain = re.sub(r"/ccm$", "/cm3", plain)
    plain = re.sub(r"cubicmet(?:er|re)", "m3", plain)
    plain = re.sub(r"cubicf(?:oo|ee)t", "ft3", plain)
    counted = _COUNTED.match(plain)
    if counted:
        return _count_unit(counted[1] or "", counted[2])
    return _SPELLINGS.get(plain, plain)


def _power(digit: str) -> str:
    return "" if digit == "1" else digit


def _negative_power(found: re.Match[str]) -> str:
    return f"{found[1]}/{found[2]}{_power(found[3])}"


def _count_unit(amount: str, volume: str) -> str:
    volume = {"cc": "cm3", "ml": "cm3", "liter": "l", "litre": "l", "cf": "ft3"}.get(volume, volume)
    if amount == "100" and volume == "cm3":
        return "/0.1l"
    return f"/{amount if amount != '1' else ''}{volume}"


def shown_unit(text: str) -> str:
    """The unit for display.

    >>> shown_unit("ug/m^3"), shown_unit("C"), shown_unit("UNHEARD OF")
    ('µg/m³', '°C', 'UNHEARD OF')
    """
    plain = plain_unit(text)
    if plain in _FRACTION or plain in _HUMIDITY or plain in ("mbar", "bar", "psi", "atm"):
        return plain
    return _HOW_IT_IS_SHOWN.get(plain, text.strip())


def conversion(file_unit: str, channel_unit: str) -> Conversion | None:
    """Conversion from the file's unit to the channel's; None if there is none.

    >>> conversion("mg/m3", "µg/m³")
    Conversion(factor=1000.0, offset=0.0, unit='µg/m³')
    >>> conversion("ppm", "µg/m³") is None
    True
    """
    found = _QUANTITY_OF_UNIT.get(channel_unit, {}).get(plain_unit(file_unit))
    return Conversion(*found, channel_unit) if found else None


def is_unit(text: str) -> bool:
    """Whether the text is a known unit.

    >>> is_unit("µg/m³"), is_unit("Sample")
    (True, False)
    """
    plain = plain_unit(text)
    return plain in _HOW_IT_IS_SHOWN or any(plain in spellings for spellings in _QUANTITY_OF_UNIT.values())


def seconds_in(text: str) -> float | None:
    """Seconds per unit of time; None if it is not one.

    >>> seconds_in("min"), seconds_in("ppm")
    (60.0, None)
    """
    return _TIME_UNITS_S.get(text.strip().lower().rstrip("."))
