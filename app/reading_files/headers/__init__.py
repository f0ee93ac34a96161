"""Column headers: channel names, units, particle sizes and detectors.

Begin with `words.py`.
"""
