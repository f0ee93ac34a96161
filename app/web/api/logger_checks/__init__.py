"""Checks of loggers through the API.

Begin with `routes.py`.
"""
