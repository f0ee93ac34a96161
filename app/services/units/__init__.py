"""Units under test with their settings, prices and consumables.

Begin with `entry.py`.
"""
