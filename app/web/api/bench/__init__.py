"""The bench through the API: what a script needs the ids of, control charts of rooms, checks of loggers.

Begin with `routes.py`.
"""
