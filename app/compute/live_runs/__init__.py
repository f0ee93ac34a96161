"""Where a run is while it is measured: phase, precision reached and to be expected, and advice.

Begin with `advice.py`.
"""
