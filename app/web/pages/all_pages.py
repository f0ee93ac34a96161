"""The pages of the bench, in the order in which their addresses are tried."""

from fastapi import APIRouter

from app.web.pages import loggers, rooms, smoke_sources

PAGE_ROUTERS: tuple[APIRouter, ...] = (
    rooms.router,
    loggers.router,
    smoke_sources.router,
)
