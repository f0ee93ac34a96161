"""Drift, warm-up and linearity of a simulated trial, drawn from what the program assumes of a logger.

The interval allows for them. A study that leaves them out finds it too wide, and says nothing of its coverage.
"""

import numpy as np

from app.compute.decay.systematic import LINEARITY, WARM_UP_SHARE
from app.compute.signal.background import DRIFT_SHARE
from app.compute.signal.rate_table import DRIFT_PARTS
from tests.studies.simulated_trial import Disturbances


def assumed_disturbances(rng: np.random.Generator) -> Disturbances:
    usual = rng.random() < DRIFT_PARTS[0][0]
    drift = DRIFT_SHARE * DRIFT_PARTS[0 if usual else 1][1] * rng.standard_normal()
    return Disturbances(drift, WARM_UP_SHARE * rng.standard_normal(), 1 + LINEARITY * rng.standard_normal())
