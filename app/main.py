"""The application of the bench named in the environment, for `uvicorn app.main:app`."""

import gc

from platformdirs import user_data_path

from app.settings import read_settings
from app.web.application import make_app

app = make_app(read_settings(user_data_path("hazefall")))
gc.freeze()  # what is loaded stays loaded: the collector need not go through it again with each page
