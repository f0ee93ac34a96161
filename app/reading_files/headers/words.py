"""Vocabulary of column headers: channel, unit and detector.

To add a word, add it to its table here; tests/reading_files/headers/test_words.py
holds one line for each word.
"""

import re
from dataclasses import dataclass
from functools import lru_cache

from app.reading_files.headers.channels import channel
from app.reading_files.headers.particle_sizes import (
    BARE_SIZE,
    PM,
    detector_of,
    particle_mass,
    particle_number,
    variant_of,
)
from app.reading_files.text.line_fields import plain_text
from app.reading_files.text.unit_symbols import conversion, is_unit, plain_unit, seconds_in

# the first match wins; words are matched as whole words in the header without its unit
CHANNEL_WORDS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("dew_point", ("dew", "dewpoint", "dp", "taupunkt", "rosee", "rocio")),
    ("eco2", ("eco2", "co2eq", "co2 equivalent")),
    ("co2", ("co2", "carbon dioxide", "kohlendioxid", "dioxyde de carbone", "dioxido de carbono")),
    ("voc", ("voc", "tvoc", "etvoc", "vocs", "volatile", "pid")),
    ("ldsa", ("ldsa",)),
    ("relative_humidity", ("rh", "humidity", "humid", "hum", "relhum", "rhum", "feuchte", "luftfeuchte")),
    ("relative_humidity", ("luftfeuchtigkeit", "luchtvochtigheid", "humidite", "humedad", "umidita", "rf", "hr")),
    ("temperature", ("temp", "temperature", "temperatur", "temperatura", "temperatuur", "tair", "t")),
    ("pressure", ("pressure", "press", "pres", "baro", "barometer", "druck", "luftdruck", "pression", "presion")),
    ("energy", ("energy", "energie", "energia", "kwh", "wh")),
    ("power", ("power", "watt", "watts", "wattage", "leistung", "puissance", "potencia", "vermogen")),
    ("voltage", ("voltage", "volts", "spannung", "tension", "voltaje")),
    ("current", ("current", "amps", "ampere", "strom", "courant", "corriente")),
    ("sound_level", ("laeq", "leqa", "leq", "laf", "las", "lpa", "lp", "spl", "dba", "db", "sound", "noise")),
    ("sound_level", ("schallpegel", "schall", "bruit", "ruido", "geluid", "la eq")),
    ("pm_respirable", ("resp", "respirable")),
)
UNITS_THAT_TELL = {"w": "power", "kw": "power", "db(a)": "sound_level"}
UNITS_AS_HEADERS = {
    **dict.fromkeys(("w", "kw", "watt", "watts"), "power"),
    **dict.fromkeys(("°c", "°f"), "temperature"),
    **dict.fromkeys(("hpa", "kpa", "mbar"), "pressure"),
    **dict.fromkeys(("db(a)", "dba"), "sound_level"),
    "%rh": "relative_humidity",
}
MASS_WORDS = frozenset(
    (
        "mass",
        "dust",
        "aerosol",
        "nephelometer",
        "photometer",
        "feinstaub",
        "staub",
        "poussiere",
        "total",
        "tsp",
        "schwebstaub",
    )
)

# a column with one of these words is not a level, whatever else it says
STATISTIC_WORDS = frozenset(
    [
        "min",
        "max",
        "minimum",
        "maximum",
        "std",
        "stdev",
        "stddev",
        "sd",
        "deviation",
        "dev",
        "median",
        "mode",
        "gsd",
        "twa",
        "stel",
        "peak",
        "geo",
        "geometric",
    ]
)
OTHER_WORDS = {
    **dict.fromkeys(("alarm", "alarms", "error", "errors", "status", "flag", "qc", "quality"), "a status"),
    **dict.fromkeys(("battery", "batt", "firmware", "version", "serial", "rssi", "wifi"), "instrument data"),
    **dict.fromkeys(("deadtime", "cpu", "board", "laser", "fan", "period", "heater"), "instrument data"),
    **dict.fromkeys(("latitude", "longitude", "lat", "lon", "altitude", "gps"), "a place"),
    **dict.fromkeys(("aqi", "aqhi", "aqs", "iaq", "score", "health"), "an index, not a level"),
    **dict.fromkeys(("apparent", "reactive", "scheinleistung", "blindleistung"), "not the active power"),
    **dict.fromkeys(("factor", "density", "slope", "offset", "calibration"), "an instrument setting"),
}
PARTS_OF_AN_INSTRUMENT = frozenset(["inlet", "orifice", "diff", "differential", "vacuum", "flow"])
RUNNING_MEAN = re.compile(r"(?<![a-z0-9.])\d+\s*(?:h|hr|hrs|hour|hours|d|day|days|min|mins|minutes?)(?![a-z])")
_CORRECTED = re.compile(r"\b(?:rh|humidity|temp(?:erature)?)[\s_-]*(?:corrected|compensated)")
_BAND = re.compile(r"(\d+(?:\.\d+)?)\s*(k?)\s*hz")
_OTHER_WEIGHTING = re.compile(r"l([cz])(eq|f|s|i|peak|p)?\w*")
_SPEAKS_OF_TIME = re.compile(r"elapsed|time|second|^t$|duration|interval|period|length|zeit|dauer|temps|tiempo|since")
_SUFFIX_UNITS = {
    "ug_m3": "ug/m3",
    "mg_m3": "mg/m3",
    "ng_m3": "ng/m3",
    "ugm3": "ug/m3",
    "mgm3": "mg/m3",
    "per_cm3": "/cm3",
    "n_cm3": "/cm3",
    "_cm3": "/cm3",
    "per_l": "/l",
    "per_m3": "/m3",
    "db_a": "dB(A)",
    "deg_c": "C",
    "deg_f": "F",
    "p": "%",
}


UNKNOWN = "header not recognised"


@dataclass(frozen=True, slots=True)
class Meaning:
    """Meaning of a header: a channel or none, with the reason.

    detector : "", or "b", "c", "d" for a second to fourth detector
    variant : calculation variant of the detector, such as "atm"
    unit : as written, "" if none
    """

    channel: str | None
    detector: str
    variant: str
    unit: str
    reason: str

    @property
    def is_unknown(self) -> bool:
        """Whether the header contains no known word at all."""
        return self.reason == UNKNOWN


def split_unit(header: str) -> tuple[str, str]:
    """The header without its unit, and the unit as written; "" for none.

    >>> split_unit("PM2.5 (avg 3h), ug/m3"), split_unit("RH.p"), split_unit("pm1_mg_m3"), split_unit("Inlet")
    (('PM2.5 (avg 3h)', 'ug/m3'), ('RH', '%'), ('pm1', 'mg/m3'), ('Inlet', ''))
    """
    if _BAND.fullmatch(plain_text(header)) or BARE_SIZE.fullmatch(plain_text(header)):
        return header, ""  # the unit is part of the name
    for found in reversed(list(re.finditer(r"[\(\[\{]([^()\[\]{}]*(?:\(A\))?)[\)\]\}]", header))):
        if is_unit(found[1]) or _is_time_unit(header, found[1]):
            return (header[: found.start()] + " " + header[found.end() :]).strip(" ,_"), found[1].strip()
    name, comma, last = header.rpartition(",")
    unit = re.sub(r"\(.*", "", last)
    if comma and (is_unit(unit) or _is_time_unit(name, unit)):
        return name.strip(), unit.strip()
    return _suffix_unit(header)


def _is_time_unit(header: str, text: str) -> bool:
    """Whether the text is a unit of time in a time header; "PM10 min" is a minimum."""
    return seconds_in(text) is not None and _SPEAKS_OF_TIME.search(plain_text(header)) is not None


def _suffix_unit(header: str) -> tuple[str, str]:
    for count in (3, 2, 1):
        found = re.search(rf"[\s_.]((?:[^\s_.]+[\s_.]){{{count - 1}}}[^\s_.]+)$", header)
        if not found or found.start() == 0:
            continue
        text = found[1]
        joined = re.sub(r"[\s.]", "_", text.lower()).replace("µ", "u").replace("μ", "u").replace("³", "3")
        unit = _SUFFIX_UNITS.get(joined, text)
        if len(text) > 1 and not text.isdigit() and (is_unit(unit) or _is_time_unit(header[: found.start()], unit)):
            return header[: found.start()], unit
        if len(text) == 1 and _fits(header[: found.start()], unit):
            return header[: found.start()], unit
    return header, ""


def _fits(name: str, unit: str) -> bool:
    """Whether a single letter is a unit of the quantity: the c of temp_c, but not of sensor_c."""
    meaning = _meaning_of_words(name, "")
    if meaning.channel is not None:
        return conversion(unit, channel(meaning.channel).unit) is not None
    return _is_time_unit(name, unit)


@lru_cache(maxsize=4096)
def header_meaning(header: str, unit_row: str = "") -> Meaning:
    """Meaning of a header, with the unit from a row of units below it, if any.

    >>> header_meaning("sensorB_pm02_5").channel, header_meaning("sensorB_pm02_5").detector
    ('pm2_5', 'b')
    >>> header_meaning("Temp, °F").channel, header_meaning("Temp, °F").unit
    ('temperature', '°F')
    """
    name, unit = split_unit(header)
    if unit_row.strip() and not unit:
        unit = unit_row.strip()
    if not unit and plain_text(name) in UNITS_AS_HEADERS:
        unit = name.strip()
        return Meaning(UNITS_AS_HEADERS[plain_text(name)], "", "", unit, "from its unit of measure")
    meaning = _meaning_of_words(name, unit)
    return Meaning(meaning.channel, meaning.detector, meaning.variant, unit, meaning.reason)


def _meaning_of_words(name: str, unit: str) -> Meaning:
    plain = _CORRECTED.sub(" ", plain_text(name))
    words = set(re.findall(r"[a-z]+\d*", plain))
    detector, variant = detector_of(plain), variant_of(plain)

    def said(found: str | None, reason: str) -> Meaning:
        return Meaning(found, detector, variant, unit, reason)

    for word, what in OTHER_WORDS.items():
        if word in words:
            return said(None, f"“{word}”: {what}")
    if words & STATISTIC_WORDS or re.search(r"[a-z](?:max|min|peak)\b", plain):
        return said(None, "a statistic of the readings, not a reading")
    if RUNNING_MEAN.search(PM.sub(" ", plain)):
        return said(None, "a running mean of the readings, not a reading")
    band = _BAND.fullmatch(plain.strip())
    if band:
        return said(f"band_{band[1].replace('.', '_')}{band[2]}hz", "a frequency band")
    if _OTHER_WEIGHTING.fullmatch(plain.strip()):
        return said(re.sub(r"[^a-z0-9]+", "_", plain.strip()), "a sound level that is not A-weighted")
    count = particle_number(plain, words, unit)
    if count:
        return said(count, "header word for particle number")
    mass = particle_mass(plain)
    if mass:
        return said(mass, "header word for particle mass")
    found, reason = _by_vocabulary(plain, words, unit)
    return said(found, reason)


def _by_vocabulary(plain: str, words: set[str], unit: str) -> tuple[str | None, str]:
    bare = words | {re.sub(r"\d+$", "", word) for word in words}
    for found, vocabulary in CHANNEL_WORDS:
        for word in vocabulary:
            if (word in bare or (" " in word and word in plain)) and _unit_fits(found, unit, word):
                if found == "pressure" and words & PARTS_OF_AN_INSTRUMENT:
                    continue
                return found, f"header word “{word}”"
    if words & MASS_WORDS and (not unit or conversion(unit, "µg/m³")):
        return "pm_total", "header word for particle mass of no stated size"
    implied = UNITS_THAT_TELL.get(plain_unit(unit)) if unit else None
    if implied or ("level" in words and plain_unit(unit) == "db"):
        return implied or "sound_level", "from its unit of measure"
    return None, UNKNOWN


def _unit_fits(found: str, unit: str, word: str) -> bool:
    """A short word needs a fitting unit, and no word counts with a unit of another quantity."""
    wanted = channel(found).unit
    if not unit:
        return len(word) > 1
    if conversion(unit, wanted) is not None:
        return True
    return found in ("voc", "co2", "ldsa") or not is_unit(unit)
