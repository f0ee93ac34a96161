"""Plans: the page that says how many runs a question needs, and the checklists of stored campaigns.

Begin with `page.py`.
"""
