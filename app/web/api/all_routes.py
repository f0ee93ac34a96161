"""The routers of the HTTP API; all stand below /api."""

from fastapi import APIRouter

from app.web.api import health

API_ROUTERS: tuple[APIRouter, ...] = (health.router,)
