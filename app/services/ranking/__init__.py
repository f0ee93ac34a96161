"""The ranking and what is derived from it: comparison, rank intervals, weighted ranking, advice for a room.

Begin with `table.py`.
"""
