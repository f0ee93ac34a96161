"""Jinja environment, page context and static files.

Begin with `environment.py`.
"""
