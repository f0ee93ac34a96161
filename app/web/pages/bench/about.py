"""Page about this bench for administrators: program, store and network, to be copied into a report."""

import platform
from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import APIRouter, Request
from starlette.responses import Response

from app.services.access.seen_request import UNTRUSTED, SeenRequest, request_problems
from app.services.store.copy import shown_address
from app.services.store.size import StoreSize, store_size
from app.web.dependencies import RenderDep, SessionDep, SettingsDep
from app.web.templating.page_context import program_version

router = APIRouter()


@dataclass(frozen=True, slots=True)
class AboutPage:
    """`report` holds name and value of each line of the copyable text; `problems` are about the network."""

    size: StoreSize
    report: Sequence[tuple[str, str]]
    seen: SeenRequest
    problems: Sequence[str]


@router.get("/about")
def about(request: Request, session: SessionDep, settings: SettingsDep, render: RenderDep) -> Response:
    seen: SeenRequest = request.state["seen"]
    size = store_size(session)
    warned_of = [UNTRUSTED.format(peer=peer) for peer in request.app.state.untrusted_proxies]
    problems = list(dict.fromkeys([*request_problems(seen), *warned_of]))
    where = shown_address(settings.database_url) if settings.database_url else str(settings.data_folder)
    report = [
        ("Hazefall", program_version()),
        ("Python", f"{platform.python_version()} on {platform.system()} {platform.release()}"),
        ("Store", f"{'PostgreSQL' if size.in_server else 'SQLite'}, {where}"),
        ("Size", f"{size.size_bytes / 1e6:.1f} MB"),
        ("Contents", f"{size.units} units, {size.trials} trials, {size.readings} rows of readings"),
        ("Connection", f"{seen.scheme}, host {seen.host}, client {seen.client_address}, from {seen.connected_from}"),
    ]
    return render("pages/bench/about.html", AboutPage(size, report, seen, problems))
