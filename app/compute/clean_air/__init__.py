"""Clean air delivery rate and the figures derived from it: natural decay, claims, ratings, room size, ozone.

Begin with `rate.py`.
"""
