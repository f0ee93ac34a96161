"""Database tables, column types and engine.

Begin with `engine.py`; the tables are in `models/`.
"""
