"""Data that ranking, costs and advice are computed from, read from the store.

Begin with `choices.py`.
"""
