"""Thresholds of the strength and weakness rules by name, and each rule as text for the page.

They are the bench's own choice: common practice, no source.
"""

OUTER_SHARE = 0.25  # of the tested units, at either end
FEWEST_TO_PLACE = 6  # units that have the quantity; with fewer a quarter is meaningless
LOUD_DBA = 55.0
QUIET_DBA = 35.0
STANDBY_W = 1.0
PARTS_SHARE_OF_PRICE = 0.5  # per year


def _ends(by: str) -> str:
    return (
        f"strength among the first {100 * OUTER_SHARE:g} %, weakness among the last, of at least {FEWEST_TO_PLACE} "
        f"tested units by {by} at the highest setting"
    )


THRESHOLDS: dict[str, str] = {
    "no_measurable_cleaning": "weakness where the 95 % interval of the clean air rate at the highest setting reaches 0",
    "clean_air": _ends("clean air delivery rate"),
    "never_cleared": "weakness where no median time to clear exists at the highest setting",
    "quiet": f"strength where a setting lies wholly below {QUIET_DBA:g} dB(A) and cleans measurably",
    "loud": f"weakness where the 95 % interval lies wholly above {LOUD_DBA:g} dB(A) at the highest setting",
    "efficiency": _ends("clean air for each watt"),
    "price_of_air": _ends("price for each 100 m³/h"),
    "running_cost": _ends("whole running cost"),
    "parts": f"weakness where filters and parts cost at least {100 * PARTS_SHARE_OF_PRICE:g} % of the price in a year",
    "standby": f"weakness where the 95 % interval of the standby power lies wholly above {STANDBY_W:g} W",
    "claims": "weakness where a measurement contradicts a claim; strength where one is supported and none contradicted",
    "ozone": "weakness where a recorded test lies above one of the public limits listed",
    "repeats": "weakness where a test of equal rates among the repeats at the highest setting fails",
}
