"""Our least squares and autocorrelation against the NIST Statistical Reference Datasets (US government, public domain).

Data and certified values were read in stored copies of NIST's own files; tests/data/nist_strd holds them.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from app.compute.signal.autocorrelation import lag_one_autocorrelation
from app.compute.signal.fitting import fit_least_squares, fit_linear

FOLDER = Path(__file__).resolve().parents[1] / "data" / "nist_strd"
CERTIFIED = json.loads((FOLDER / "certified.json").read_text())

MODELS = {
    "Chwirut1": lambda x, b1, b2, b3: np.exp(-b1 * x) / (b2 + b3 * x),
    "Chwirut2": lambda x, b1, b2, b3: np.exp(-b1 * x) / (b2 + b3 * x),
    "Lanczos3": lambda x, b1, b2, b3, b4, b5, b6: b1 * np.exp(-b2 * x) + b3 * np.exp(-b4 * x) + b5 * np.exp(-b6 * x),
    "MGH17": lambda x, b1, b2, b3, b4, b5: b1 + b2 * np.exp(-x * b4) + b3 * np.exp(-x * b5),
    "Misra1a": lambda x, b1, b2: b1 * (1 - np.exp(-b2 * x)),
    "BoxBOD": lambda x, b1, b2: b1 * (1 - np.exp(-b2 * x)),
    "DanWood": lambda x, b1, b2: b1 * x**b2,
}


def _columns(name: str) -> np.ndarray:
    return np.loadtxt(FOLDER / f"{name}.csv", delimiter=",", skiprows=1, unpack=True)


@pytest.mark.parametrize("name", MODELS)
def test_nonlinear_fits_give_the_certified_values_and_standard_errors(name):
    x, y = _columns(name)
    certified = CERTIFIED[name]
    fit = fit_least_squares(MODELS[name], x, y, start=certified["start2"])
    assert fit.fit_converged
    assert fit.best == pytest.approx(certified["parameter"], rel=1e-5)
    assert fit.standard_errors == pytest.approx(certified["standard_error"], rel=2e-4)
    assert fit.residual_sum_of_squares == pytest.approx(certified["residual_sum_of_squares"], rel=1e-6)
    assert fit.residual_sd == pytest.approx(certified["residual_sd"], rel=1e-6)
    assert fit.degrees_of_freedom == certified["dof"]


@pytest.mark.parametrize("name", ["Norris", "NoInt1"])
def test_linear_fits_give_the_certified_values_and_standard_errors(name):
    x, y = _columns(name)
    certified = CERTIFIED[name]
    design = x[:, None] if name == "NoInt1" else np.column_stack([np.ones_like(x), x])
    fit = fit_linear(design, y)
    assert fit.best == pytest.approx(certified["parameter"], rel=1e-9)
    assert fit.standard_errors == pytest.approx(certified["standard_error"], rel=1e-9)
    assert fit.residual_sd == pytest.approx(certified["residual_sd"], rel=1e-9)


@pytest.mark.parametrize("name", ["Lew", "Mavro", "Michelso"])
def test_lag_one_autocorrelation_is_the_certified_one(name):
    values = _columns(name)
    assert lag_one_autocorrelation(values - values.mean()) == pytest.approx(
        CERTIFIED[name]["lag1_autocorrelation"], rel=1e-9
    )
