"""Measurements of speed, printed as ratios against a plain baseline in the same run."""

import app  # noqa: F401  # before numpy, as in the program: the package says with how many threads numpy computes
