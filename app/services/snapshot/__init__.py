"""The bench at one moment: ranking, order, comparison, costs, advice and lists are computed from it.

Begin with `bench_snapshot.py` (what is cached, and for how long) and `stored_units.py` (what is read of each unit).
"""
