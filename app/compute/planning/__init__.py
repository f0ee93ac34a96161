"""How many more runs a question needs, how long they should be, which run comes next, and in which order.

Begin with `precision.py`; `campaign.py` puts the runs in order.
"""
