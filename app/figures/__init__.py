"""Charts and tables: results in, a description and its rendering out. Nothing here reads the store.

Begin with `chart.py`, the description that every renderer draws.
"""
