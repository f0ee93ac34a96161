"""The published site: the pages as plain files.

Begin with `publish.py`.
"""
