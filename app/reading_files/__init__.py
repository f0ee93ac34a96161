"""Logger files: bytes in, a table of readings out.

Begin with `read_log.py`.
"""
