"""Every published number with what it is based on, and what moved between two editions.

Begin with `published_number.py`.
"""
