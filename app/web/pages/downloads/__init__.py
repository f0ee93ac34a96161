"""Downloads of charts, tables and the data package.

Begin with `charts.py`.
"""
