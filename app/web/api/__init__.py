"""The HTTP API, one router for each subject.

Begin with `all_routes.py`.
"""
