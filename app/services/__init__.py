"""The jobs of the product, one folder for each subject. They never commit.

Begin with `adding_trials/add.py` for the way of a log file into the store.
"""
