"""Runs to come: how many a question needs, and stored campaigns whose lines are ticked off by the trials.

Begin with `answer.py`; `campaigns.py` stores a plan.
"""
