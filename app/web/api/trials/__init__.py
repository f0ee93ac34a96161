"""API of trials.

Begin with `routes.py`.
"""
