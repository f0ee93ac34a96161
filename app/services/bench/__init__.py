"""Bench-wide data: choices, rooms, loggers, smoke sources, tariffs, search.

Begin with `choices.py`.
"""
