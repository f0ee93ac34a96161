"""Running cost and cost of owning, from stored prices, power and consumables.

Begin with `running_cost.py`.
"""
