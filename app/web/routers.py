"""Routers of pages, downloads and API: each route of theirs is behind the permission check.

A router of these goes into the application as it stands. Including it (`include_router`) would build every route again,
for each application.
"""

from fastapi import APIRouter, Depends

from app.web.security.authentication import require_role


def page_router() -> APIRouter:
    """Routes of pages, which the API's schema leaves out."""
    return APIRouter(dependencies=[Depends(require_role)], include_in_schema=False)


def download_router() -> APIRouter:
    """Routes of files at addresses that scripts may use, so they are in the schema."""
    return APIRouter(dependencies=[Depends(require_role)], tags=["chart and table downloads"])


def api_router(tag: str) -> APIRouter:
    """Routes of the API, below /api; `tag` is their heading in the schema."""
    return APIRouter(prefix="/api", dependencies=[Depends(require_role)], tags=[tag])
