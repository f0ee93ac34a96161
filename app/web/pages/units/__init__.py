"""Units under test, their measurements, ratings, claims and clips.

Begin with `page.py`.
"""
