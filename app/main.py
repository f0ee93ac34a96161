"""ASGI application for `uvicorn app.main:app`, with the bench from the environment."""

from platformdirs import user_data_path

from app.settings import read_settings
from app.web.application import make_app
from app.web.process.gc_settings import freeze_startup_objects
from app.web.process.malloc_arenas import limit_malloc_arenas

limit_malloc_arenas()
app = make_app(read_settings(user_data_path("hazefall")))
freeze_startup_objects()
