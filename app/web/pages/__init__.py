"""The pages, one folder for each subject.

Begin with `all_pages.py`.
"""
