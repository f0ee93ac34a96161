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
        f"strength in the best {100 * OUTER_SHARE:g} %, weakness in the worst, of at least {FEWEST_TO_PLACE} tested "
        f"units by {by} at the highest setting"
    )


THRESHOLDS: dict[str, str] = {
    "no_measurable_cleaning": "weakness where the 95 % interval of the clean air rate at the highest setting "
    "includes 0",
    "clean_air": f"{_ends('clean air delivery rate')}, where the simultaneous rank interval lies in that half",
    "never_cleared": "weakness where no median time to clear exists at the highest setting",
    "quiet": f"strength where a setting is entirely below {QUIET_DBA:g} dB(A) and cleans measurably",
    "loud": f"weakness where the 95 % interval is entirely above {LOUD_DBA:g} dB(A) at the highest setting",
    "efficiency": _ends("clean air per watt"),
    "price_of_air": _ends("price per 100 m³/h"),
    "running_cost": _ends("total running cost"),
    "parts": f"weakness where consumables cost at least {100 * PARTS_SHARE_OF_PRICE:g} % of the price per year",
    "standby": f"weakness where the 95 % interval of the standby power is entirely above {STANDBY_W:g} W",
    "claims": "weakness where a measurement contradicts a claim; strength where one is supported and none contradicted",
    "ozone": "weakness where a recorded test is above one of the public limits listed",
    "repeats": "weakness where a homogeneity test of the repeats at the highest setting fails",
}
