"""Published editions.

Begin with `routes.py`.
"""
