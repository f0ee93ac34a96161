"""Requests, pages, API and security.

Begin with `application.py`, which builds the app.
"""
