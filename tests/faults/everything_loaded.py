"""Importing this loads all of the program, as a server has it once its background threads are done."""

import gc
import pkgutil
from importlib import import_module

import alembic.command
import alembic.script
import matplotlib.backends.backend_agg
import openpyxl
import pandas
import rich.progress
import scipy.optimize
import soundfile
import tsdownsample
import uvicorn.lifespan.on
import uvicorn.loops.auto
from sqlalchemy.orm import configure_mappers

import app

__all__ = ["alembic", "matplotlib", "openpyxl", "pandas", "rich", "scipy", "soundfile", "tsdownsample", "uvicorn"]

gc.disable()
for module in pkgutil.walk_packages(app.__path__, "app."):
    if module.name != "app.main":  # which opens a bench
        import_module(module.name)
configure_mappers()
gc.enable()
