"""Marks inside a header word: the size of the particles, and the detector that counted them."""

import re

from app.reading_files.text.unit_symbols import conversion, plain_unit

PM = re.compile(r"(?<![a-z])pm\s*_?\s*0*(\d+)(?:[._,](\d+)|\s([50])\b)?")
PM_SIZES = {
    **{"1": "pm1", "1.0": "pm1", "2.5": "pm2_5", "25": "pm2_5", "2.50": "pm2_5", "4": "pm4", "4.0": "pm4"},
    **{"10": "pm10", "10.0": "pm10", "100": "pm10", "0.1": "pm0_1", "0.3": "pm0_3", "0.5": "pm0_5"},
    **{"5": "pm5", "5.0": "pm5"},
}
COUNT_WORDS = frozenset(
    ("count", "counts", "cnt", "cnts", "number", "particles", "particle", "bin", "anzahl", "pnc", "nc", "cpc")
)
TOTAL_WORDS = frozenset(("total", "number", "count", "counts", "cnt", "pnc", "particles", "anzahl"))
CONCENTRATION_WORDS = frozenset(("conc", "concentration", "n"))
BARE_SIZE = re.compile(r"[><=≥\s]*\d+(?:[.,]\d+)?\s*(?:um|nm)")

_UNIT = r"(um|nm|microns?)"
_PREFIXED = re.compile(r"(?<![a-z0-9])(?:c|n|p|pc|nc|gr|gt|cnt)[\s_>]*0*(\d+)[._](\d+)(?!\d)")
_WITH_UNIT = re.compile(rf"(?<![\d.])(\d+)(?:[._,](\d+))?[\s_]*{_UNIT}(?![a-z])")
_TENTHS = re.compile(rf"(?<!\d)0(\d)[\s_]*{_UNIT}(?![a-z])")
_ABOVE = re.compile(r"[>≥]=?\s*(\d+)(?:[.,](\d+))?")
_RANGE = re.compile(
    rf"(?<!\d)(?<!\d[._,])(\d+)(?:[._,](\d+))?[\s_]*{_UNIT}?[\s_]*(?:-|–|—|\bto\b|_to_)[\s_]*(\d+)(?:[._,](\d+))?(?![\d.])"
    rf"[\s_]*{_UNIT}?"
)
_NUMBER = re.compile(r"(?<![\d.])(\d+)(?:[.,](\d+))?(?![\d.])")


def particle_mass(plain: str) -> str | None:
    """The mass channel named in a header.

    >>> particle_mass("sensora_pm02_5"), particle_mass("pm 10"), particle_mass("temp")
    ('pm2_5', 'pm10', None)
    """
    found = PM.search(plain)
    if not found:
        return None
    whole, part = found[1], found[2] or found[3]
    if part is not None and f"{whole}.{part}" in PM_SIZES:
        return PM_SIZES[f"{whole}.{part}"]
    return PM_SIZES.get(whole)


def particle_number(plain: str, words: set[str], unit: str) -> str | None:
    """The number channel named in a header, with a number unit or without a unit.

    >>> particle_number("counts_0_3um", {"counts"}, ""), particle_number("mean", {"mean"}, "#/cm3")
    ('count_0_3um', 'count_total')
    >>> particle_number("0.3-0.5 um", set(), "#/L")
    'count_0_3_to_0_5um'
    """
    counted = bool(unit) and conversion(unit, "1/cm³") is not None
    length = plain_unit(unit) if plain_unit(unit) in ("um", "nm") else ""
    if unit and not counted and not length:
        return None
    in_range = _number_in_range(plain, words, counted, length)
    if in_range is not None:
        return in_range
    mass = particle_mass(plain)
    if mass is not None:
        return f"count_{mass.removeprefix('pm')}um" if counted or words & COUNT_WORDS else None
    bare = {re.sub(r"\d+$", "", word) for word in words} | words
    plain = re.sub(r"\[\d+\]", " ", plain)
    tenths = _TENTHS.search(plain)
    if tenths:
        return f"count_0_{tenths[1]}um"
    for pattern in (_PREFIXED, _WITH_UNIT, _ABOVE):
        found = pattern.search(plain)
        if found:
            size_unit = found[3] if pattern is _WITH_UNIT else ""
            return f"count_{_size(found[1], found[2])}{'nm' if 'nm' in (size_unit, length) else 'um'}"
    if not counted and not bare & COUNT_WORDS and not ("total" in bare and bare & CONCENTRATION_WORDS):
        return None
    found = _NUMBER.search(re.sub(r"[a-z]+(?=\d)", " ", plain))
    if found and (found[2] or length):
        return f"count_{_size(found[1], found[2])}{length or 'um'}"
    if found:
        return f"count_bin_{found[1]}" if "bin" in bare else f"count_{found[1]}um"
    if ("bin" in bare and not counted) or length:
        return None
    return "count_total" if counted or bare & TOTAL_WORDS else None


def _number_in_range(plain: str, words: set[str], counted: bool, length: str) -> str | None:
    """The channel of a size bin, such as 0.3-0.5 µm; None without two sizes, the smaller one first."""
    found = _RANGE.search(plain)
    if found is None:
        return None
    is_size = counted or length or found[3] or found[6]
    if not is_size and not (words & COUNT_WORDS and (found[2] or found[5])):
        return None
    low, high = _size(found[1], found[2]), _size(found[4], found[5])
    if float(low.replace("_", ".")) >= float(high.replace("_", ".")):
        return None
    return f"count_{low}_to_{high}{'nm' if 'nm' in (found[3], found[6], length) else 'um'}"


def sizes_in_tenths(plain: str) -> bool:
    """Whether a header has sizes in tenths of a micrometre without a decimal point: particles_03um is 0.3 µm.

    >>> sizes_in_tenths("particles_03um"), sizes_in_tenths("particles_10um")
    (True, False)
    """
    return _TENTHS.search(plain) is not None


def _size(whole: str, part: str | None) -> str:
    digits = (part or "").rstrip("0")
    return f"{int(whole)}_{digits}" if digits else str(int(whole))


_WORD = r"(?:sensor|detector|channel|ch|unit|probe|box|node|s|d)"
_PATTERNS = (
    re.compile(rf"(?:^|[\s_.]){_WORD}?[\s_]?#?([abcd1234])$"),
    re.compile(rf"^{_WORD}[\s_]?#?([abcd1234])(?=$|[\s_.])"),
    re.compile(rf"[\s_.]{_WORD}[\s_]?#?([abcd1234])(?=$|[\s_.])"),
    re.compile(r"\(([abcd1234])\)$"),
    re.compile(r"(?:temp|temperature|rh|hum|humidity|voc|power|pressure)([1234])$"),
)
_LETTERS = {"1": "", "2": "b", "3": "c", "4": "d", "a": ""}
_VARIANT = re.compile(r"[\s_.(](atm\w*|cf[\s_=]*1|std|standard|env\w*|raw|corrected|calibrated)\b")
_SIZE_BEFORE_NOTHING = re.compile(r"[>≥<=]\s*\d+(?:[.,]\d+)?|\d+[.,]\d+")


def detector_of(plain: str) -> str:
    """ "b", "c" or "d" for a second to fourth detector; "" for the first or none.

    >>> detector_of("pm2.5 b"), detector_of("sensor 2 pm10"), detector_of("pm2.5"), detector_of("co2")
    ('b', 'b', '', '')
    """
    bare = re.sub(r"cf[\s_=]*1", "", plain).strip(" _.")
    bare = PM.sub(lambda found: found[0] if particle_mass(found[0]) is None else " pm ", bare)
    bare = _SIZE_BEFORE_NOTHING.sub(" ", bare).strip(" _.")
    for pattern in _PATTERNS:
        found = pattern.search(bare)
        if found and bare != found[1]:
            return _LETTERS.get(found[1], found[1])
    return ""


def variant_of(plain: str) -> str:
    """Calculation variant of one detector; "" if none.

    >>> variant_of("pm2.5_cf_1"), variant_of("pm2.5 (atmospheric)"), variant_of("pm10")
    ('cf1', 'atmospheric', '')
    """
    found = _VARIANT.search(plain)
    return re.sub(r"[\s_=]+", "", found[1]) if found else ""
