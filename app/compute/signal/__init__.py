"""Fitting and noise of sampled signals: exponential fit, autocorrelation, event detection.

Begin with `exponential_fit.py`.
"""
