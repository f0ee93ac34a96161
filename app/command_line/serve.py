"""`hazefall serve`: serves a bench."""

import argparse
import gc
import logging

from app.command_line.bench_folder import add_address_arguments, add_folder_argument, settings_from
from app.command_line.progress_bar import progress_bar
from app.settings import Settings


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_folder_argument(parser)
    add_address_arguments(parser)


def run(arguments: argparse.Namespace) -> int:
    from app.services.open_store import open_store

    settings = settings_from(arguments)
    with progress_bar() as on_progress:
        open_store(settings, on_progress).dispose()
    return serve(settings, "Hazefall serves the bench in")


def serve(settings: Settings, what: str) -> int:
    """Serves until it is stopped; prints the address as soon as the server answers there."""
    import uvicorn  # loaded when used: only the serving commands need the web

    from app.services.address_rule import refuse_without_account
    from app.services.open_store import open_store
    from app.web.application import make_app

    engine = open_store(settings)
    try:
        refuse_without_account(settings, engine)
    finally:
        engine.dispose()

    class AddressTold(uvicorn.Server):
        async def startup(self, sockets: list | None = None) -> None:  # type: ignore[type-arg]
            await super().startup(sockets)
            if self.started:
                print(f"{what} {settings.data_folder}", flush=True)
                print(f"Open {address(settings.host, self._port())}   (Ctrl+C stops it)", flush=True)

        def _port(self) -> int:
            return next((s.getsockname()[1] for server in self.servers for s in server.sockets), settings.port)

    logging.getLogger("uvicorn.error").setLevel(logging.WARNING)
    server = AddressTold(
        uvicorn.Config(make_app(settings), host=settings.host, port=settings.port, log_level="warning")
    )
    gc.freeze()  # what is loaded stays loaded: the collector need not go through it again with each page
    server.run()
    return 0 if server.started else 1


def address(host: str, port: int) -> str:
    """The address that a browser opens."""
    shown = "localhost" if host in ("0.0.0.0", "::") else host
    return f"http://{f'[{shown}]' if ':' in shown else shown}:{port}/"
