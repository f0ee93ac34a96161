"""The store itself: opening, migrating, backup, check, copy, and the record of changes.

Begin with `open.py`; every change is recorded through `audit.py`.
"""
