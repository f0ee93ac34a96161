"""The pages of the bench, in the order in which their addresses are tried."""

from fastapi import APIRouter

from app.web.pages import bench_form, changes, charts, costs, curves, loggers, ranking, rooms, smoke_sources, unit_form

PAGE_ROUTERS: tuple[APIRouter, ...] = (
    ranking.router,
    curves.router,
    costs.router,
    charts.router,
    unit_form.router,
    rooms.router,
    loggers.router,
    smoke_sources.router,
    bench_form.router,
    changes.router,
)
