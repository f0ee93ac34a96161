"""The routers of the HTTP API; all stand below /api."""

from fastapi import APIRouter

from app.web.api import bench, health, problem_kinds, trials, units

API_ROUTERS: tuple[APIRouter, ...] = (
    health.router,
    units.router,
    trials.router,
    bench.router,
    problem_kinds.router,
)
