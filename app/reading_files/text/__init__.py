"""Decoding of bytes, and parsing of numbers, times and units in text.

Begin with `decoding.py`.
"""
