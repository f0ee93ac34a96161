"""Ranking, comparison, curves and advice for a room.

Begin with `page.py`.
"""
