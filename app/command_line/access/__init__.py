"""Subcommands for accounts and API tokens.

Begin with `account.py`.
"""
