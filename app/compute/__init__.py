"""Physics and statistics: numbers in, frozen results out. No clock, file, database or web.

Begin with `method.py`, which describes the analysis, then `decay/analysis.py`, which runs it.
"""
