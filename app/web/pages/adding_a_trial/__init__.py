"""Upload, preview and confirmation of a log.

Begin with `upload.py`.
"""
