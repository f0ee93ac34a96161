"""Measured values with uncertainty, and the statistics of repeated trials.

Begin with `measured.py`.
"""
