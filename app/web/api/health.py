"""Health check of the server and its store."""

from pydantic import BaseModel
from sqlalchemy import text

from app.web.current_user import current_user
from app.web.dependencies import SessionDep, SettingsDep
from app.web.routers import api_router
from app.web.templating.page_context import program_version

router = api_router("health")


class Health(BaseModel):
    """`store` is the kind of store and, for signed-in users, its location without password."""

    status: str
    store: str
    version: str


@router.get("/health")
def health(session: SessionDep, settings: SettingsDep) -> Health:
    """Answers "ok" once the store has answered."""
    session.execute(text("SELECT 1"))
    url = session.get_bind().engine.url
    where = url.render_as_string(hide_password=True) if current_user() else url.get_backend_name()
    return Health(status="ok", store=where, version=program_version())
