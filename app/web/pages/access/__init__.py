"""Sign-in and accounts.

Begin with `sign_in.py`.
"""
