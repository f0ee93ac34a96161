"""Live runs: the list with the form that starts one, and the page of a run with its buttons and growing chart.

Begin with `page.py`.
"""
