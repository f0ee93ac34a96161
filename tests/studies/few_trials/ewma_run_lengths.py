"""Average run lengths of control charts with known centre and spread, computed without the program.

The chain follows J. M. Lucas and M. S. Saccucci, Technometrics 32, 1-12, 1990 (the average is put into cells of equal
width; from memory), the quadrature the density of the average from run to run.
"""

import numpy as np
from scipy.stats import norm


def shewhart_run_length(sigmas: float, shift: float) -> float:
    """One over the probability of a run outside ± so many standard deviations."""
    return 1.0 / (norm.sf(sigmas - shift) + norm.cdf(-sigmas - shift))


def chain_run_length(weight: float, sigmas: float, shift: float, cells: int = 151) -> float:
    """Of an average with constant limits, as a Markov chain of cells between them."""
    half = sigmas * np.sqrt(weight / (2 - weight))
    edges = np.linspace(-half, half, cells + 1)
    centres = (edges[1:] + edges[:-1]) / 2
    moved = norm.cdf((edges[None, :] - (1 - weight) * centres[:, None]) / weight - shift)
    stays = np.diff(moved, axis=1)
    return float(np.linalg.solve(np.eye(cells) - stays, np.ones(cells))[cells // 2])


def varying_run_length(weight: float, sigmas: float, shift: float, nodes: int = 61) -> float:
    """Of an average whose limits widen from run to run with its exact variance, by Gauss-Legendre quadrature."""
    at, of = np.polynomial.legendre.leggauss(nodes)
    total, probability, places, run = 1.0, 1.0, np.array([0.0]), 0
    mass = np.array([1.0])
    while probability > 1e-9:
        run += 1
        half = sigmas * np.sqrt(weight / (2 - weight) * (1 - (1 - weight) ** (2 * run)))
        now = half * at
        density = norm.pdf((now[:, None] - (1 - weight) * places[None, :]) / weight - shift) / weight @ mass
        before, places, mass = probability, now, half * of * density
        probability = float(mass.sum())
        total += probability
        if run > 120:  # constant limits and a constant share that stays: the rest is a geometric series
            share = probability / before
            return total + probability * share / (1 - share)
    return total
