"""Time columns: choice, order, zones and repeated times.

Begin with `columns.py`.
"""
