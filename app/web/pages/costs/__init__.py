"""Running cost, cost of owning and tariffs.

Begin with `page.py`.
"""
