"""A connection to PostgreSQL that gives up waiting for a server that does not answer.

Limits on the server do not help where the server itself is frozen, and the network only notices a machine that is gone.
"""

from typing import Any

import psycopg


class TimedConnection(psycopg.Connection[Any]):
    """`answers_within_s` limits each wait for the server; afterwards the connection is closed."""

    answers_within_s: float | None = None

    def wait(self, gen: Any, interval: float = 0.1, timeout: float | None = None) -> Any:
        try:
            return super().wait(gen, interval, timeout if timeout is not None else self.answers_within_s)
        except psycopg.errors._WaitTimeout as error:
            self.pgconn.finish()
            raise psycopg.OperationalError(
                f"the database server did not answer within {self.answers_within_s:.0f} s; the connection was closed"
            ) from error
