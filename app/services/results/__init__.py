"""Computed results: analysis of a trial, pooled natural decay, summaries, recomputation.

Begin with `update_derived.py`, which runs the steps in order.
"""
