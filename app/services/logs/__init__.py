"""Raw log files and their readings.

Begin with `store.py`.
"""
