"""Draft review of a unit, built from stored facts by rules, with edits and verdicts.

Begin with `draft.py`; the rules are in `rules.py`.
"""
