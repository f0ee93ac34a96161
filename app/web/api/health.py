"""Whether the server and its store answer."""

from fastapi import APIRouter
from pydantic import BaseModel
from sqlalchemy import text

from app.web.dependencies import SessionDep, SettingsDep
from app.web.page_context import program_version

router = APIRouter(tags=["health"])


class Health(BaseModel):
    """`store` names the kind of store and where it lies, without any password."""

    status: str
    store: str
    version: str


@router.get("/health")
def health(session: SessionDep, settings: SettingsDep) -> Health:
    """Answers "ok" once the store has answered."""
    session.execute(text("SELECT 1"))
    bind = session.get_bind()
    return Health(status="ok", store=bind.engine.url.render_as_string(hide_password=True), version=program_version())
