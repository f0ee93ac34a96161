"""Checks of loggers: beside a reference logger, in clean air, after switching on; and the record of each logger.

Begin with `add.py`.
"""
