"""Entry of many units or measurements from one table.

Begin with `entry.py`; `kinds.py` lists the tables.
"""
