"""Which detector of several a header speaks of, and which calculation of one detector."""

import re

from app.reading_files.headers.particle_sizes import PM, particle_mass

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
    """ "b", "c" or "d" where plain words name a further detector; "" for the first or for none.

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
    """Which calculation of one detector plain words name; "" if none.

    >>> variant_of("pm2.5_cf_1"), variant_of("pm2.5 (atmospheric)"), variant_of("pm10")
    ('cf1', 'atmospheric', '')
    """
    found = _VARIANT.search(plain)
    return re.sub(r"[\s_=]+", "", found[1]) if found else ""
