"""Finding the table of readings in a file.

Begin with `segment.py`.
"""
