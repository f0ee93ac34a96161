"""The `hazefall` command, one file for each subcommand.

Begin with `main.py`.
"""
