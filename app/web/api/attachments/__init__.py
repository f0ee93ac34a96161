"""Photos and documents of units and trials.

Begin with `routes.py`.
"""
