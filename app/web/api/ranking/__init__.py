"""API of the ranking.

Begin with `routes.py`.
"""
