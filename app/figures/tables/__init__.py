"""Tables for download, and their formats.

Begin with `table.py`; `formats.py` writes them.
"""
