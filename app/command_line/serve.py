"""`hazefall serve`: serves a bench, with one process or several."""

import argparse
import logging
import socket
from functools import partial

from app.command_line.access.entry import Entry, has_screen
from app.command_line.bench_folder import (
    add_address_arguments,
    add_browser_argument,
    add_folder_argument,
    address,
    naming_options,
    number_of_processes,
    place,
    settings_from,
)
from app.command_line.progress_bar import progress_bar
from app.errors import InvalidValue
from app.services.access.local_secret import ensure_secret
from app.settings import Settings

# A worker that reads a large log may block its other threads for a while; do not consider it dead before this.
_ANSWERS_WITHIN_S = 120


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_folder_argument(parser)
    add_address_arguments(parser)
    add_browser_argument(parser)
    parser.add_argument(
        "--workers",
        metavar="N",
        type=number_of_processes,
        default=1,
        help="server processes (default: 1; more than one per core does not help)",
    )


def run(arguments: argparse.Namespace) -> int:
    from app.services.store.open import open_store

    settings = settings_from(arguments)
    with progress_bar() as on_progress:
        open_store(settings, on_progress).dispose()
    opens_browser = not arguments.no_browser and has_screen()
    return serve(
        settings,
        "Hazefall serves the bench in",
        workers=arguments.workers,
        opens_browser=opens_browser,
        bench=naming_options(arguments),
    )


def serve(
    settings: Settings, what: str, *, workers: int = 1, opens_browser: bool = False, bench: tuple[str, ...] = ()
) -> int:
    """Serves until stopped; prints the way in as soon as the server accepts connections.

    bench : options by which other commands name it
    """
    from app.services.access.authenticate import has_accounts
    from app.services.access.network_policy import require_account_for_network
    from app.services.store.open import open_store

    engine = open_store(settings)
    try:
        require_account_for_network(settings, engine)
        alone = not has_accounts(engine)
        entry = Entry(settings.data_folder if alone else None, opens_browser, bench)
    finally:
        engine.dispose()
    if alone:
        ensure_secret(settings.data_folder)  # here, because an error while the server starts ends in a traceback
    require_free_address(settings)
    logging.getLogger("uvicorn.error").setLevel(logging.WARNING)
    on_start = partial(_announce, entry, settings.host, f"{what} {place(settings)}")
    return (
        _serve_one_process(settings, on_start)
        if workers == 1
        else _serve_several_processes(settings, on_start, workers)
    )


def require_free_address(settings: Settings) -> None:
    """Raises InvalidValue if another program uses the port, or the address is not this machine's."""
    family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
    with socket.socket(family) as tried:
        tried.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            tried.bind((settings.host, settings.port))
        except OSError as error:
            raise InvalidValue(
                f"Cannot listen on {settings.host}, port {settings.port} ({(error.strerror or '').lower()}). Stop the "
                "other program, or choose another port with --port; 0 picks any free port."
            ) from error


def _announce(entry: Entry, host: str, first: str, port: int) -> None:
    print(first, flush=True)
    entry.announce(address(host, port))


def _serve_one_process(settings: Settings, on_start: partial[None]) -> int:
    import uvicorn  # loaded when used: only the serving commands need the web

    from app.web.process.timed_connections import TimedConnection  # loaded when used: with uvicorn
    from app.web.served_app import served_app

    app = served_app(settings)

    class AddressPrintingServer(uvicorn.Server):
        async def startup(self, sockets: list | None = None) -> None:  # type: ignore[type-arg]
            await super().startup(sockets)
            if self.started:
                on_start(next((s.getsockname()[1] for server in self.servers for s in server.sockets), settings.port))

        async def shutdown(self, sockets: list | None = None) -> None:  # type: ignore[type-arg]
            app.state.stopping = True  # streams of live runs end, so that no open page delays the stop
            await super().shutdown(sockets)

    server = AddressPrintingServer(
        uvicorn.Config(
            app,
            host=settings.host,
            port=settings.port,
            log_level="warning",
            proxy_headers=False,
            http=TimedConnection,
        )
    )
    server.run()
    return 0 if server.started else 1


def _serve_several_processes(settings: Settings, on_start: partial[None], workers: int) -> int:
    """Worker processes share only the socket, the store and the data folder; any of them answers any request."""
    import uvicorn  # loaded when used: only the serving commands need the web
    from uvicorn.supervisors import Multiprocess

    from app.web.process.timed_connections import TimedConnection  # loaded when used: with uvicorn
    from app.web.served_app import served_app

    class AddressPrintingServer(Multiprocess):
        answered = False

        def init_processes(self) -> None:
            super().init_processes()
            ready = [process.wait_until_ready(_ANSWERS_WITHIN_S, self.should_exit) for process in self.processes]
            self.answered = any(ready)
            if self.answered:
                on_start(self.sockets[0].getsockname()[1])

        def keep_subprocess_alive(self) -> None:
            for process in self.processes:
                # the worker's end of the pipe: while it is open here, a worker that dies when it is asked whether it
                # lives is waited for until the time is over
                process.child_conn.close()
            super().keep_subprocess_alive()

    config = uvicorn.Config(
        partial(served_app, settings),
        factory=True,
        host=settings.host,
        port=settings.port,
        log_level="warning",
        http=TimedConnection,
        proxy_headers=False,  # as above
        workers=workers,
        timeout_worker_healthcheck=_ANSWERS_WITHIN_S,
    )
    bound = config.bind_socket()
    try:
        server = AddressPrintingServer(config, [bound])
        server.run()
    finally:
        bound.close()
    return 0 if server.answered else 1
