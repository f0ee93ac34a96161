"""Routers of the HTTP API, all below /api."""

from fastapi import APIRouter

from app.web.api import health, network, problem_kinds, running_cost, trash
from app.web.api.attachments import routes as attachments
from app.web.api.bench import logger_checks, room_control
from app.web.api.bench import routes as bench
from app.web.api.editions import routes as editions
from app.web.api.plans import routes as plans
from app.web.api.ranking import comparison
from app.web.api.ranking import order as rank_order
from app.web.api.ranking import routes as ranking
from app.web.api.runs import routes as runs
from app.web.api.runs import stream as run_stream
from app.web.api.trials import routes as trials
from app.web.api.units import entries as unit_entries
from app.web.api.units import routes as units

API_ROUTERS: tuple[APIRouter, ...] = (
    health.router,
    network.router,
    units.router,
    unit_entries.router,
    attachments.router,
    trials.router,
    plans.router,
    runs.router,
    run_stream.router,
    ranking.router,
    rank_order.router,
    comparison.router,
    running_cost.router,
    bench.router,
    room_control.router,
    logger_checks.router,
    trash.router,
    editions.router,
    problem_kinds.router,
)
