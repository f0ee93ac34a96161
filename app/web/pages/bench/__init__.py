"""Pages of the bench: choices, rooms, loggers, history, search, trash.

Begin with `form.py`.
"""
