"""Builds the web application: store, routes, static files and middleware."""

import logging
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from functools import partial
from typing import TypedDict

from anyio import CapacityLimiter, Lock, to_thread
from fastapi import FastAPI
from sqlalchemy import Engine
from starlette.middleware.gzip import GZipMiddleware

from app.services.access.local_secret import ensure_secret
from app.services.access.network_policy import require_account_for_network
from app.services.store.open import open_store
from app.settings import Settings
from app.web.delivery import COMPRESSION_LEVEL, NOT_COMPRESSED, ETagMiddleware, HeadMiddleware
from app.web.lazy_routes import LazyRoutesMiddleware, Routes
from app.web.pages.ranking.page import prepare_ranking
from app.web.problems import answer_errors
from app.web.process.backup_schedule import backups_scheduled
from app.web.security.authentication import AuthenticationMiddleware
from app.web.security.body_limit import BodyLimitMiddleware
from app.web.security.request_checks import RequestChecksMiddleware
from app.web.security.slow_clients import SlowClientsMiddleware
from app.web.security.trusted_proxies import TrustedProxiesMiddleware
from app.web.templating.page_context import program_version

# How many packages and animations are prepared at once. One takes a processor for seconds, on a large bench for
# minutes, and a page waits for each of them.
DOWNLOADS_AT_ONCE = 1

# How many requests a process handles at once with a database server: each may use two connections, and four processes
# stay below PostgreSQL's default limit of one hundred.
THREADS_ON_A_SERVER = 11

# How long a page waits for a statement or a lock of a database server before it says that the server is busy.
STATEMENTS_WITHIN_S = 60.0


class State(TypedDict):
    """Contents of `request.state`."""

    engine: Engine
    settings: Settings
    write_lock: Lock
    download_turn: CapacityLimiter


_LOG = logging.getLogger(__name__)


def make_app(settings: Settings, *, prepares_ranking: bool = False) -> FastAPI:
    """The application for one bench. The store is opened (and created or migrated) when the server starts.

    prepares_ranking : before the first request is taken, so that its reader does not wait for what all others share
    """

    @asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[State]:
        engine = await to_thread.run_sync(partial(open_store, settings, answers_within_s=STATEMENTS_WITHIN_S))
        try:
            await to_thread.run_sync(require_account_for_network, settings, engine)
            await to_thread.run_sync(ensure_secret, settings.data_folder)
        except BaseException:
            engine.dispose()
            raise
        if engine.dialect.name != "sqlite":
            to_thread.current_default_thread_limiter().total_tokens = THREADS_ON_A_SERVER
        if prepares_ranking:
            await to_thread.run_sync(_prepare, engine)
        try:
            async with backups_scheduled(settings):
                yield {
                    "engine": engine,
                    "settings": settings,
                    "write_lock": Lock(),
                    "download_turn": CapacityLimiter(DOWNLOADS_AT_ONCE),
                }
        finally:
            engine.dispose()

    app = FastAPI(
        title="Hazefall",
        summary="Trials of room air cleaners: readings, decay rates, clean air, sound, power and cost",
        version=program_version(),
        lifespan=lifespan,
        docs_url=None,  # the built-in pages load from another site
        redoc_url=None,
        openapi_url="/api/openapi.json",
    )
    answer_errors(app)
    app.add_middleware(LazyRoutesMiddleware, routes=Routes(app))
    app.add_middleware(AuthenticationMiddleware)
    app.add_middleware(BodyLimitMiddleware, max_bytes=settings.max_upload_bytes)
    app.add_middleware(RequestChecksMiddleware, allowed_hosts=(*settings.allowed_hosts, settings.host))
    app.add_middleware(ETagMiddleware)
    app.add_middleware(GZipMiddleware, compresslevel=COMPRESSION_LEVEL, exclude_content_types=NOT_COMPRESSED)
    app.add_middleware(HeadMiddleware)
    app.add_middleware(SlowClientsMiddleware)
    app.state.untrusted_proxies = []
    app.add_middleware(
        TrustedProxiesMiddleware, trusted=settings.trusted_proxies, warned_of=app.state.untrusted_proxies
    )
    return app


def _prepare(engine: Engine) -> None:
    try:
        prepare_ranking(engine)
    except Exception:  # whatever is wrong with the page is told to its readers, and the other pages are served
        _LOG.exception("The ranking could not be prepared; it is computed when a reader asks for it.")
