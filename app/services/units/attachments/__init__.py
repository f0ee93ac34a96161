"""Photos and documents of units and trials: evidence of a number, stored byte for byte.

Begin with `attach.py`.
"""
