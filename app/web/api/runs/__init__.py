"""API of live runs.

Begin with `routes.py`.
"""
