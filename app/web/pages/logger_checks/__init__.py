"""Checks of loggers: the form, the result of one check, and the record of a logger.

Begin with `page.py`.
"""
