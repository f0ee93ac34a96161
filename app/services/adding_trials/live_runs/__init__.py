"""Live runs: trials that are followed while they are measured, and become stored trials when they are finished.

Begin with `run.py`; `receive.py` stores readings, `state.py` says where a run is, `finish.py` makes the trial.
"""
