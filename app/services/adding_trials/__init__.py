"""From an uploaded log to a stored trial: staging, preview, import.

Begin with `add.py`.
"""
