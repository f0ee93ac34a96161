"""Hazefall: results of trials of room air cleaners, from a logger file to a published ranking.

Begin with `main.py` for the web application; DEVELOPERS.md has the folder map.
"""

import os

# Fits use matrices of about a hundred rows, for which BLAS threads cost more than they save; a re-analysis already
# runs a process per core. Read when numpy is first loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
