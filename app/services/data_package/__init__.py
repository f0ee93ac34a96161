"""Data package: a zip from which every published number can be recomputed, and its check.

Begin with `write.py`; `check.py` verifies a package.
"""
