"""Stream of a live run as server-sent events.

A client holds neither a thread nor a database connection: once a second a thread looks at the run's counter, and only
news are read. A stream ends after half a minute, so that a server can stop; a browser asks again by itself, with the id
of the last event, and misses nothing.
"""

import json
import time
from collections.abc import AsyncIterator
from typing import Annotated, Any

from anyio import sleep, to_thread
from fastapi import FastAPI, Header, Query, Request
from starlette.responses import Response, StreamingResponse

from app.services.bench.invented import invented_bench
from app.web.api.runs.shapes import RunShape, run_shape
from app.web.api.shapes import Id, problem_answers
from app.web.dependencies import ReadSessionDep
from app.web.routers import api_router

router = api_router("live runs")

_LOOK_EVERY_S = 1.0
_STATE_EVERY_S = 5.0  # without news: the silence of a logger is news too, and else a comment keeps the connection
_LASTS_S = 30.0
_ASK_AGAIN_MS = 1000


@router.get(
    "/runs/{run_id}/stream",
    response_class=Response,
    responses={
        200: {
            "description": "Events `state` (as GET /runs/{run_id}), `readings` and `end`, each with the run's "
            "counter as its id",
            "content": {"text/event-stream": {"schema": {"type": "string"}}},
        },
        **problem_answers(404),
    },
)
async def run_stream(
    run_id: Id,
    request: Request,
    reading: ReadSessionDep,
    last_event_id: Annotated[str, Header(alias="Last-Event-ID", max_length=40)] = "",
    since: Annotated[int | None, Query(ge=0, le=2_147_483_647, description="As Last-Event-ID")] = None,
) -> Response:
    """State and new readings as they come. With `Last-Event-ID` only readings stored after that event are sent."""
    from app.services.adding_trials.live_runs.news import changes_of_run  # loaded when used: it needs scipy

    said = invented_bench(reading)
    bench = {"invented": said.invented, "invented_words": said.words}
    engine = request.state["engine"]
    await to_thread.run_sync(changes_of_run, engine, run_id)  # an unknown run is a 404 before the stream begins
    seen = int(last_event_id) if last_event_id.isdecimal() and len(last_event_id) < 10 else since
    return StreamingResponse(
        _events(request.app, engine, run_id, seen, bench),
        media_type="text/event-stream",
        headers={"Cache-Control": "no-store"},
    )


async def _events(
    app: FastAPI, engine: Any, run_id: int, seen: int | None, bench: dict[str, Any]
) -> AsyncIterator[bytes]:
    from app.services.adding_trials.live_runs.news import changes_of_run, news_of_run

    yield f"retry: {_ASK_AGAIN_MS}\n\n".encode()
    began = looked = time.monotonic()
    sent: dict[str, Any] | None = None
    while True:
        changes = await to_thread.run_sync(changes_of_run, engine, run_id)
        now = time.monotonic()
        if sent is None or changes != seen or now - looked >= _STATE_EVERY_S:
            news = await to_thread.run_sync(news_of_run, engine, run_id, seen)
            if news.points is not None:
                yield _event("readings", news.changes, _points(news.points))
            shape: RunShape = run_shape(news.state, bench)
            latest = shape.model_dump(exclude={"at"})
            yield b": still here\n\n" if latest == sent else _event("state", news.changes, shape.model_dump_json())
            seen, looked, sent = news.changes, now, latest
            if shape.status != "open":
                yield _event("end", news.changes, json.dumps({"status": shape.status, "trial_id": shape.trial_id}))
                return
        if now - began >= _LASTS_S or getattr(app.state, "stopping", False):
            return
        await sleep(_LOOK_EVERY_S)


def _points(points: Any) -> str:
    sent = {"channel": points.channel, "label": points.label, "unit": points.unit, "whole": points.whole}
    return json.dumps(sent | {"times_ms": points.times_ms, "levels": points.levels})


def _event(name: str, changes: int, data: str) -> bytes:
    return f"event: {name}\nid: {changes}\ndata: {data}\n\n".encode()
