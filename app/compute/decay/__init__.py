"""Decay analysis of one channel of one trial, from phases and fit window to rate, notes and time to clear.

Begin with `analysis.py`; `result.py` holds what it returns.
"""
