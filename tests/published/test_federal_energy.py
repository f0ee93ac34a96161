"""US federal energy figures. Standing: recomputed from formulas that are themselves from memory (10 CFR 430 Subpart B
Appendix FF); least values read second-hand (10 CFR 430.32(ee)), class boundaries from memory, tier dates read.
The check keeps the formulas as they are written down, and is no proof that the rule says so."""

import pytest

from app.compute.clean_air.conversions import from_cubic_feet_per_minute
from app.compute.clean_air.efficiency import FEDERAL_MINIMA, federal_energy

# smoke, dust [ft³/min], active, standby [W], PM2.5 rate [ft³/min], energy [kWh/year], factor [(ft³/min)/W]
EXAMPLES = [
    (100, 100, 50, 0, 100.0, 292.0, 2.0),
    (200, 220, 60, 1, 209.76177, 353.32, 3.467137),
    (81, 100, 30, 0.5, 90.0, 176.66, 2.975207),
    (144, 169, 45, 2, 156.0, 268.64, 3.391304),
    (300, 320, 100, 0.8, 309.838668, 586.336, 3.086043),
]


@pytest.mark.parametrize(("smoke", "dust", "active_w", "standby_w", "rate", "energy", "factor"), EXAMPLES)
def test_recomputed_examples(smoke, dust, active_w, standby_w, rate, energy, factor):
    found = federal_energy(from_cubic_feet_per_minute(smoke), from_cubic_feet_per_minute(dust), active_w, standby_w)
    assert found.pm2_5_rate_cfm == pytest.approx(rate, abs=1e-5)
    assert found.energy_kwh_per_year == pytest.approx(energy, abs=1e-9)
    assert found.integrated_energy_factor_cfm_per_w == pytest.approx(factor, abs=1e-6)


def test_least_values_of_both_tiers():
    """Six adopted numbers read second-hand, in public notes on the rule; dates read (FR 2023-18860)."""
    by_tier = {(limit.tier, limit.product_class): (limit.minimum.value, limit.made_from) for limit in FEDERAL_MINIMA}
    assert by_tier == {
        (1, 1): (1.7, "2023-12-31"),
        (1, 2): (1.9, "2023-12-31"),
        (1, 3): (2.0, "2023-12-31"),
        (2, 1): (1.9, "2025-12-31"),
        (2, 2): (2.4, "2025-12-31"),
        (2, 3): (2.9, "2025-12-31"),
    }
