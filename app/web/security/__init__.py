"""Checks of each request: authentication, permissions, origin, body size.

Begin with `authentication.py`; `permissions.py` is the role table.
"""
