"""The routers of the HTTP API; all stand below /api."""

from fastapi import APIRouter

from app.web.api import (
    bench,
    comparison,
    health,
    problem_kinds,
    rank_order,
    ranking,
    running_cost,
    trash,
    trials,
    units,
)

API_ROUTERS: tuple[APIRouter, ...] = (
    health.router,
    units.router,
    trials.router,
    ranking.router,
    rank_order.router,
    comparison.router,
    running_cost.router,
    bench.router,
    trash.router,
    problem_kinds.router,
)
