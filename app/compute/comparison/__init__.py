"""Comparison of units: differences, rank intervals, weighted ranking, and advice for a room.

Begin with `difference.py`.
"""
