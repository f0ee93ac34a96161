"""Typed forms: parsing, errors beside each field, choices of a select.

Begin with `typed_form.py`.
"""
