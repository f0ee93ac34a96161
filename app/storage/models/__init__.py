"""The tables, one file for each subject.

Begin with `trials.py` and `units_under_test.py`; `base.py` holds the naming and type rules.
"""
