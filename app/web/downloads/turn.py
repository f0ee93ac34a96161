"""One costly download at a time: each takes a processor for seconds, on a large bench for minutes, and much memory."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from anyio import CapacityLimiter, fail_after
from fastapi import Request

from app.errors import Busy

_TURN_WITHIN_S = 20.0


@asynccontextmanager
async def download_turn(request: Request, too_busy: str) -> AsyncIterator[None]:
    """Waits until no other is prepared, without occupying a thread; raises Busy with the message after some seconds."""
    turn: CapacityLimiter = request.state["download_turn"]
    try:
        with fail_after(_TURN_WITHIN_S):
            await turn.acquire()
    except TimeoutError:
        raise Busy(too_busy) from None
    try:
        yield
    finally:
        turn.release()
