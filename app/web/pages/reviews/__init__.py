"""The draft review of a unit.

Begin with `draft.py`.
"""
