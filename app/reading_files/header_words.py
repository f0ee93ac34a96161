"""The words of a column header: which channel they mean, which unit they give, which detector they name.

To teach the reader a new word, add it to the table it belongs to here; tests/reading_files/test_header_words.py
holds one line for each word.
"""

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache

from app.reading_files.channels import channel
from app.reading_files.unit_symbols import conversion, is_unit, plain_unit, seconds_in

# first match wins; the words are looked for as whole words in the header without its unit
CHANNEL_WORDS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("dew_point", ("dew", "dewpoint", "dp", "taupunkt", "rosee", "rocio")),
    ("co2", ("co2", "carbon dioxide", "kohlendioxid", "dioxyde de carbone", "dioxido de carbono")),
    ("voc", ("voc", "tvoc", "vocs", "volatile", "pid")),
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
MASS_WORDS = ("mass", "dust", "aerosol", "nephelometer", "photometer", "feinstaub", "staub", "poussiere", "total")
COUNT_WORDS = ("count", "counts", "number", "particles", "particle", "bin", "anzahl", "pnc")
TOTAL_WORDS = ("total", "number", "count", "counts", "pnc", "particles", "anzahl")

# a column with one of these words is no level, whatever else it says
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
    **dict.fromkeys(("battery", "batt", "firmware", "version", "serial", "rssi", "wifi"), "about the instrument"),
    **dict.fromkeys(("deadtime", "cpu", "board", "laser", "fan", "period", "heater"), "about the instrument"),
    **dict.fromkeys(("latitude", "longitude", "lat", "lon", "altitude", "gps"), "a place"),
    **dict.fromkeys(("aqi", "aqhi", "aqs", "iaq", "score", "health"), "an index made from levels, not a level"),
    **dict.fromkeys(("factor", "density", "slope", "offset", "calibration"), "a setting of the instrument"),
}
PARTS_OF_AN_INSTRUMENT = frozenset(["inlet", "orifice", "diff", "differential", "vacuum", "flow"])
RUNNING_MEAN = re.compile(r"\b(?:avg|average|mean|mittel|moving|running)?\s*\d+\s*(?:h|hr|hrs|hour|hours|d|day|min)\b")

_PM = re.compile(r"(?<![a-z])pm\s*_?\s*0*(\d+)(?:[._,](\d+)|\s([50])\b)?")
PM_SIZES = {
    **{"1": "pm1", "1.0": "pm1", "2.5": "pm2_5", "25": "pm2_5", "2.50": "pm2_5", "4": "pm4", "4.0": "pm4"},
    **{"10": "pm10", "10.0": "pm10", "100": "pm10", "0.1": "pm0_1", "0.3": "pm0_3", "0.5": "pm0_5"},
}
_CORRECTED = re.compile(r"\b(?:rh|humidity|temp(?:erature)?)[\s_-]*(?:corrected|compensated)")
_BAND = re.compile(r"(\d+(?:\.\d+)?)\s*(k?)\s*hz")
_OTHER_WEIGHTING = re.compile(r"l([cz])(eq|f|s|i|peak|p)?\w*")
_BARE_SIZE = re.compile(r"[><=≥\s]*\d+(?:[.,]\d+)?\s*(?:um|nm)")
_SIZE = re.compile(r"(?:^|[^\d.])(\d+(?:[.,]\d+)?)\s*(um|nm|micron|microns)?\b")
_SAFE_SIZE = re.compile(r"(?<![a-z0-9])(?:c|n|pc|nc|gr)0*(\d+)[._](\d+)(?![\d])")
_DETECTORS = (
    re.compile(r"(?:^|[\s_.])(?:sensor|detector|channel|ch|unit|probe|s|d)?[\s_]?#?([abcd1234])$"),
    re.compile(r"^(?:sensor|detector|channel|ch|probe|s|d)[\s_]?#?([abcd1234])(?=$|[\s_.])"),
    re.compile(r"[\s_.](?:sensor|detector|channel|ch|probe|s|d)[\s_]?#?([abcd1234])(?=$|[\s_.])"),
    re.compile(r"\(([abcd1234])\)$"),
)
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


UNKNOWN = "no word in the header is known"


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a header says: a channel or none, and why.

    detector : "", or "b", "c", "d" where the header names a further detector
    variant : which calculation of the same detector, such as "atm"
    unit : as written, "" if none
    """

    channel: str | None
    detector: str
    variant: str
    unit: str
    reason: str

    @property
    def is_unknown(self) -> bool:
        """Whether no word of the header is known, not even one that says it is no level."""
        return self.reason == UNKNOWN


def plain_words(text: str) -> str:
    """Lower case, without accents, camelCase parted: the form in which words are compared.

    >>> plain_words("Température"), plain_words("relHumidity")
    ('temperature', 'rel humidity')
    """
    parted = re.sub(r"(?<=[a-z])(?=[A-Z][a-z])", " ", text.strip().replace("µ", "u").replace("μ", "u"))
    if parted.isascii():
        return parted.lower()
    bare = unicodedata.normalize("NFKD", parted)
    return "".join(character for character in bare if not unicodedata.combining(character)).lower()


def split_unit(header: str) -> tuple[str, str]:
    """The header without its unit, and the unit as written; "" where it gives none.

    >>> split_unit("PM2.5 (avg 3h), ug/m3"), split_unit("RH.p"), split_unit("pm1_mg_m3"), split_unit("Inlet")
    (('PM2.5 (avg 3h)', 'ug/m3'), ('RH', '%'), ('pm1', 'mg/m3'), ('Inlet', ''))
    """
    if _BAND.fullmatch(plain_words(header)) or _BARE_SIZE.fullmatch(plain_words(header)):
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
    """Whether the text is a unit of time in a header that speaks of time: "PM10 min" is a minimum."""
    return seconds_in(text) is not None and _SPEAKS_OF_TIME.search(plain_words(header)) is not None


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
    """Whether the one letter is a unit of what the name means: the c of temp_c, but not of sensor_c."""
    meaning = _meaning_of_words(name, "")
    if meaning.channel is not None:
        return conversion(unit, channel(meaning.channel).unit) is not None
    return _is_time_unit(name, unit)


@lru_cache(maxsize=4096)
def header_meaning(header: str, unit_row: str = "") -> Meaning:
    """What a header says, with the unit from a row of units below it where there is one.

    >>> header_meaning("sensorB_pm02_5").channel, header_meaning("sensorB_pm02_5").detector
    ('pm2_5', 'b')
    >>> header_meaning("Temp, °F").channel, header_meaning("Temp, °F").unit
    ('temperature', '°F')
    """
    name, unit = split_unit(header)
    if unit_row.strip() and not unit:
        unit = unit_row.strip()
    meaning = _meaning_of_words(name, unit)
    return Meaning(meaning.channel, meaning.detector, meaning.variant, unit, meaning.reason)


def _meaning_of_words(name: str, unit: str) -> Meaning:
    plain = _CORRECTED.sub(" ", plain_words(name))
    words = set(re.findall(r"[a-z]+\d*", plain))
    detector, variant = _detector(plain), _variant(plain)

    def said(found: str | None, reason: str) -> Meaning:
        return Meaning(found, detector, variant, unit, reason)

    for word, what in OTHER_WORDS.items():
        if word in words:
            return said(None, f"“{word}”: {what}")
    if words & STATISTIC_WORDS or re.search(r"[a-z](?:max|min|peak)\b", plain):
        return said(None, "a statistic of the readings, not a reading")
    size = _particle_mass(plain)
    if RUNNING_MEAN.search(_PM.sub(" ", plain)):
        return said(None, "a running mean of the readings, not a reading")
    if size and (conversion(unit, "1/cm³") is not None or words & {"count", "counts", "number"}):
        return said(f"count_{size.removeprefix('pm')}um", "header word for particle number up to a size")
    if size:
        return said(size, "header word for particle mass")
    band = _BAND.fullmatch(plain.strip())
    if band:
        return said(f"band_{band[1].replace('.', '_')}{band[2]}hz", "a frequency band")
    if _OTHER_WEIGHTING.fullmatch(plain.strip()):
        return said(re.sub(r"[^a-z0-9]+", "_", plain.strip()), "a sound level that is not A-weighted")
    count = _particle_number(plain, words, unit)
    if count:
        return said(count, "header word for particle number")
    for found, vocabulary in CHANNEL_WORDS:
        for word in vocabulary:
            if (word in words or (" " in word and word in plain)) and _unit_fits(found, unit, word):
                if found == "pressure" and words & PARTS_OF_AN_INSTRUMENT:
                    continue
                return said(found, f"header word “{word}”")
    if words & set(MASS_WORDS) and (not unit or conversion(unit, "µg/m³")):
        return said("pm_total", "header word for particle mass of no stated size")
    return said(None, UNKNOWN)


def _unit_fits(found: str, unit: str, word: str) -> bool:
    """A short word only counts with a unit that fits, and no word with a unit of something else."""
    wanted = channel(found).unit
    if not unit:
        return len(word) > 1
    if conversion(unit, wanted) is not None:
        return True
    return found in ("voc", "co2", "ldsa") or not is_unit(unit)


def _particle_mass(plain: str) -> str | None:
    found = _PM.search(plain)
    if not found:
        return None
    whole, part = found[1], found[2] or found[3]
    if part is not None and f"{whole}.{part}" in PM_SIZES:
        return PM_SIZES[f"{whole}.{part}"]
    return PM_SIZES.get(whole)


def _particle_number(plain: str, words: set[str], unit: str) -> str | None:
    counted = bool(unit) and conversion(unit, "1/cm³") is not None
    sized = _SAFE_SIZE.search(plain)
    if sized:
        whole, part = int(sized[1]), sized[2].rstrip("0")
        return f"count_{whole}_{part}um" if part else f"count_{whole}um"
    bare = {re.sub(r"\d+$", "", word) for word in words} | words
    if unit and not counted and plain_unit(unit) not in ("um", "nm"):
        return None
    total_concentration = {"total", "conc"} <= bare or {"total", "concentration"} <= bare
    if (
        not counted
        and not total_concentration
        and not bare & set(COUNT_WORDS)
        and not re.match(r"^[><=≥\s]*\d+(?:[.,]\d+)?\s*(um|nm)", plain)
    ):
        return None
    if plain_unit(unit) == "nm" and not re.search(r"\d", plain):
        return None
    found = _SIZE.search(re.sub(r"\[\d+\]", " ", re.sub(r"[a-z]+(?=\d)", " ", plain)))
    if found:
        size_unit = {"micron": "um", "microns": "um"}.get(found[2] or "", found[2] or "")
        size_unit = size_unit or (plain_unit(unit) if plain_unit(unit) in ("um", "nm") else "")
        number = found[1].replace(",", ".")
        if size_unit or "." in number:
            return f"count_{number.replace('.', '_')}{size_unit or 'um'}"
        return f"count_bin_{number}" if "bin" in bare else f"count_{number}um"
    if bare & {"bin"} and not counted:
        return None
    return "count_total" if counted or words & set(TOTAL_WORDS) else None


def _variant(plain: str) -> str:
    found = re.search(r"[\s_.(](atm|cf[\s_=]*1|std|standard|raw|corrected|rh.corrected)\b", plain)
    return re.sub(r"[\s_=]+", "", found[1]) if found else ""


def _detector(plain: str) -> str:
    bare = re.sub(r"cf[\s_=]*1", "", plain).strip(" _.")
    bare = _PM.sub(lambda found: found[0] if _particle_mass(found[0]) is None else " pm ", bare).strip(" _.")
    for pattern in _DETECTORS:
        found = pattern.search(bare)
        if found and bare != found[1]:
            letter = {"1": "a", "2": "b", "3": "c", "4": "d"}.get(found[1], found[1])
            return "" if letter == "a" else letter
    return ""
