"""Pages of the photos and documents of a unit and of a trial.

Begin with `page.py`.
"""
