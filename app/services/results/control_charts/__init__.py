"""Control charts of rooms from stored results: natural decay, check unit, shifts, and what follows from them.

Begin with `room_charts.py`.
"""
