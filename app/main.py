"""ASGI application for `uvicorn app.main:app`, with the bench from the environment."""

from platformdirs import user_data_path

from app.settings import read_settings
from app.web.served_app import served_app

app = served_app(read_settings(user_data_path("hazefall")))
