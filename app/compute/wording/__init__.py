"""Numbers and notes as text: rounding by uncertainty, intervals, contrast of colours.

Begin with `numbers.py`.
"""
