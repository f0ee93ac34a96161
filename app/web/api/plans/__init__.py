"""API of plans.

Begin with `routes.py`.
"""
