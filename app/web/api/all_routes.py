"""The routers of the HTTP API; all stand below /api."""

from fastapi import APIRouter

from app.web.api import bench, health, problem_kinds, ranking, running_cost, trials, units

API_ROUTERS: tuple[APIRouter, ...] = (
    health.router,
    units.router,
    trials.router,
    ranking.router,
    running_cost.router,
    bench.router,
    problem_kinds.router,
)
