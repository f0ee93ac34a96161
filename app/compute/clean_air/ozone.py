"""Ozone emitted by a unit compared with public limits. Without a test it is "not measured", never zero."""

from dataclasses import dataclass

from app.compute.clean_air.published_figure import PublishedFigure

LIMITS = (
    PublishedFigure(
        "ozone from an indoor air cleaner",
        50.0,
        "ppb",
        "California Air Resources Board",
        "17 CCR 94800 and following",
        None,
        "read second-hand",
    ),
    PublishedFigure("ozone under the test of UL 867", 50.0, "ppb", "US EPA", "program requirements", 2020, "read"),
    PublishedFigure("ozone for the zero-ozone claim", 5.0, "ppb", "UL", "UL 2998", None, "from memory"),
)
# Standard uncertainty of a value whose test states none: a tenth of it, at least 0.5 ppb. Common practice, no source:
# analysers read within a few percent, and the chamber and its losses add as much again.
RELATIVE_UNCERTAINTY, LEAST_UNCERTAINTY_PPB = 0.1, 0.5
CAUTION = (
    "Ozone irritates the lungs, and people with asthma or other lung disease are affected first. A unit that ionises "
    "or uses ultraviolet light may produce it. Ask a doctor before running one near anyone who is ill, and follow "
    "your local rules; this bench gives no medical advice."
)


def ozone_uncertainty_ppb(ozone_ppb: float) -> float:
    """Standard uncertainty assumed for a recorded value [ppb].

    >>> ozone_uncertainty_ppb(40.0), ozone_uncertainty_ppb(2.0)
    (4.0, 0.5)
    """
    return max(RELATIVE_UNCERTAINTY * ozone_ppb, LEAST_UNCERTAINTY_PPB)


@dataclass(frozen=True, slots=True)
class OzoneFinding:
    """Ozone result of a unit.

    measured : a test is recorded
    ozone_ppb : the value, an upper bound where it was below the detection limit
    above_limits, below_limits : public limits on either side
    sentence : the finding in words
    caution : shown for units that can make ozone, and for any that was found to
    """

    measured: bool
    ozone_ppb: float | None
    below_detection: bool
    above_limits: tuple[PublishedFigure, ...]
    below_limits: tuple[PublishedFigure, ...]
    sentence: str
    caution: str


def ozone_finding(makes_ozone: bool, ozone_ppb: float | None, *, below_detection: bool = False) -> OzoneFinding:
    """Compare a recorded ozone value with the public limits.

    Parameters
        makes_ozone : the unit ionises or uses ultraviolet light
        ozone_ppb : the highest recorded value; None: no test is recorded [ppb]
        below_detection : the value is the detection limit of the test, and the unit emitted less
    Raises   ValueError for a value below zero
    Source   limits with their standing in `LIMITS`; 0.050 ppm and 0.005 ppm are 50 and 5 ppb

    >>> ozone_finding(True, None).sentence
    'Ozone: not measured. The unit uses a technology that can produce it.'
    >>> ozone_finding(True, 62.0).sentence
    'Ozone: 62 ppb, above 50 ppb (California Air Resources Board) and 50 ppb (US EPA) and 5 ppb (UL).'
    """
    if ozone_ppb is None:
        words = (
            "The unit uses a technology that can produce it."
            if makes_ozone
            else "Nothing in the unit is known to produce it."
        )
        return OzoneFinding(False, None, False, (), (), f"Ozone: not measured. {words}", CAUTION if makes_ozone else "")
    if not ozone_ppb >= 0:
        raise ValueError(f"The ozone value is {ozone_ppb:g} ppb; it must be zero or above.")
    above = tuple(limit for limit in LIMITS if ozone_ppb > limit.value and not below_detection)
    below = tuple(limit for limit in LIMITS if ozone_ppb <= limit.value)
    value = f"less than {ozone_ppb:g} ppb" if below_detection else f"{ozone_ppb:g} ppb"
    if above:
        words = f"above {' and '.join(f'{limit.value:g} ppb ({limit.body})' for limit in above)}"
    elif len(below) == len(LIMITS):
        words = "within every public limit listed"
    else:
        words = "within some of the public limits listed; the test cannot resolve the others"
    return OzoneFinding(
        True,
        ozone_ppb,
        below_detection,
        above,
        below,
        f"Ozone: {value}, {words}.",
        CAUTION if makes_ozone or above else "",
    )
