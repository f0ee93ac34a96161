"""Stored trials: list, detail, marks, exclusion, trash, and their decay curves.

Begin with `detail.py`.
"""
