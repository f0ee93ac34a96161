"""Trials: list, detail, marks, exclusion.

Begin with `page.py`.
"""
