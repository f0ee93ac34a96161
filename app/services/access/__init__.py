"""Accounts, roles, sessions and API tokens.

Begin with `authenticate.py`; roles are in `roles.py`.
"""
