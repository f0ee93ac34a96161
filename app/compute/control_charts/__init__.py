"""Control charts of a room: natural decay and the check unit over years, with limits from a reference period.

Begin with `chart.py`; `limits.py` estimates centre and spread from the reference runs.
"""
