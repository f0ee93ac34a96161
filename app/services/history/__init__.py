"""The record of changes in words, for the bench and for readers of published results.

Begin with `change_history.py`.
"""
