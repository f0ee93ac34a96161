"""The application of one server process, with the settings of that process."""

from typing import TYPE_CHECKING

from app.settings import Settings
from app.web.process.gc_settings import freeze_startup_objects, loading_without_collection
from app.web.process.malloc_arenas import limit_malloc_arenas

if TYPE_CHECKING:
    from fastapi import FastAPI


def served_app(settings: Settings) -> "FastAPI":
    limit_malloc_arenas()
    with loading_without_collection():
        from app.web.application import make_app  # loaded when used: the whole web, without collections

        app = make_app(settings, prepares_ranking=True)
        freeze_startup_objects()
    return app
