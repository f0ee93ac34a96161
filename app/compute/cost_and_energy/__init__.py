"""Energy, consumables and money: cost per year, cost over years, break-even, sensitivity.

Begin with `running_cost.py`.
"""
