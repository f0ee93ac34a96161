"""One file for each chart: results in, a `Chart` out.

Begin with `trial_decay.py`.
"""
