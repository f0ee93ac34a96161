"""Connections whose request head must arrive in time; uvicorn waits for it without end."""

import asyncio
from typing import Any

from uvicorn.protocols.http.auto import AutoHTTPProtocol

HEAD_WITHIN_S = 20.0


class TimedConnection(AutoHTTPProtocol):  # type: ignore[misc, valid-type]
    """Closes a connection that sends no whole request head within the limit.

    The limit runs from the opening of the connection, and from the first byte of each later request; between
    requests uvicorn's own limit for idle connections counts.
    """

    _head_timer: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        super().connection_made(transport)
        self._start_timer()

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        if self._waits_for_head():
            self._start_timer()
        else:
            self._stop_timer()

    def _unsupported_upgrade_warning(self) -> None:
        """Nothing: no page asks for a WebSocket, and uvicorn would advise to install a library for whoever does."""

    def connection_lost(self, exc: Exception | None) -> None:
        self._stop_timer()
        super().connection_lost(exc)

    def _waits_for_head(self) -> bool:
        return self.cycle is None or self.cycle.response_complete

    def _start_timer(self) -> None:
        if self._head_timer is None:
            self._head_timer = self.loop.call_later(HEAD_WITHIN_S, self._close_if_waiting)

    def _stop_timer(self) -> None:
        if self._head_timer is not None:
            self._head_timer.cancel()
            self._head_timer = None

    def _close_if_waiting(self) -> None:
        self._head_timer = None
        if self._waits_for_head() and not self.transport.is_closing():
            self.transport.close()
