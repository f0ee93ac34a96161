"""Every state of the world in which a bench may find itself; `python -m tests.faults.states` runs them all."""
