"""Subcommands for the store: backup, restore, check, copy.

Begin with `backup.py`.
"""
