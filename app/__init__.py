"""Hazefall: results of trials of room air cleaners, from the logger's file to a ranking that can be published."""

import os

# The matrices of a fit have a hundred rows or so: threads of the linear algebra library spend more on waiting for one
# another than they save, and a re-analysis has a process on every core already. Read when numpy is first loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
