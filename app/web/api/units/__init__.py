"""API of units under test.

Begin with `routes.py`.
"""
