"""The pages of the bench, in the order in which their addresses are tried."""

from fastapi import APIRouter

from app.web.pages import loggers, ranking, rooms, smoke_sources

PAGE_ROUTERS: tuple[APIRouter, ...] = (
    ranking.router,
    rooms.router,
    loggers.router,
    smoke_sources.router,
)
