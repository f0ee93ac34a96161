"""Sound levels and recorded clips: background correction, weighting, spectrum, tones, calibration.

Begin with `level.py` for readings and `clip.py` for recordings.
"""
