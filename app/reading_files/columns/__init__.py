"""Which column holds which channel.

Begin with `roles.py`.
"""
