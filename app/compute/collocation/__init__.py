"""Two loggers in the same air: clock offset, calibration line, precision, zero and warm-up.

Begin with `collocate.py`.
"""
