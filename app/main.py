"""ASGI application for `uvicorn app.main:app`, with the bench from the environment."""

from app.settings import read_settings
from app.web.served_app import served_app

app = served_app(read_settings())
