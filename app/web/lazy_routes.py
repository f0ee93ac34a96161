"""Routes of the application, most of them loaded on first use.

The first page needs only a third of the program, so the server starts with the ranking and the static files. All other
routes are loaded together: in the background after the first response, or before a request that needs them.
"""

import threading
from collections.abc import Sequence

from anyio import to_thread
from fastapi import APIRouter, FastAPI
from starlette.types import ASGIApp, Receive, Scope, Send

from app.web.pages.ranking import page as ranking
from app.web.security.authentication import require_role
from app.web.templating.static_files import STATIC_ADDRESS, CachedStaticFiles, static_folder

_FIRST_PATH = "/"
# One lock per process: two applications that import the same modules at the same time could each get half of them.
_LOADING = threading.Lock()


class Routes:
    """The routes of one application, each behind the permission check."""

    def __init__(self, app: FastAPI) -> None:
        self._app = app
        self._loading_started = False
        self.all_loaded = False
        self._add([ranking.router])
        app.mount(STATIC_ADDRESS, CachedStaticFiles(directory=static_folder()), name="static")
        app.state.routes = self

    def has(self, path: str) -> bool:
        """Whether the route of this path is loaded."""
        return self.all_loaded or path == _FIRST_PATH or path.startswith(f"{STATIC_ADDRESS}/")

    def load_all(self) -> None:
        """Loads all routes once; concurrent callers wait."""
        with _LOADING:
            if self.all_loaded:
                return
            # import everything before adding anything, so that a failing import changes nothing
            from app.web.api.all_routes import API_ROUTERS  # loaded when used
            from app.web.pages.all_pages import DOWNLOAD_ROUTERS, PAGE_ROUTERS  # loaded when used

            routers = (*API_ROUTERS, *DOWNLOAD_ROUTERS, *PAGE_ROUTERS)
            self._add([router for router in routers if router is not ranking.router])
            self.all_loaded = True

    def load_in_background(self) -> None:
        """Starts loading all routes in a thread, once."""
        if not (self._loading_started or self.all_loaded):
            self._loading_started = True
            threading.Thread(target=self.load_all, name="load all routes").start()

    def _add(self, routers: Sequence[APIRouter]) -> None:
        """Adds the routes unchanged; a router without the permission check is a bug."""
        for router in routers:
            if require_role not in [one.dependency for one in router.dependencies]:
                raise RuntimeError("A router checks no permission. Create it with a function of app/web/routers.py.")
        self._app.router.routes.extend(route for router in routers for route in router.routes)


class LazyRoutesMiddleware:
    """Innermost middleware, behind all checks: a rejected request loads nothing."""

    def __init__(self, app: ASGIApp, routes: Routes) -> None:
        self.app = app
        self.routes = routes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or self.routes.all_loaded:
            await self.app(scope, receive, send)
            return
        if not self.routes.has(scope["path"]):
            await to_thread.run_sync(self.routes.load_all)
        await self.app(scope, receive, send)
        self.routes.load_in_background()
