"""Measurements other than trials: sound, power, ozone, ratings, claims, recordings.

Begin with `sound_levels.py`; the other files follow its pattern.
"""
