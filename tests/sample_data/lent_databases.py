"""PostgreSQL databases that are lent to one test after another.

To make a database and to drop it takes longer than most tests do. So a test gets one that an earlier test had, with
the rows and sequences of its template put back. Where a test changed tables or triggers, a new one is made.
"""

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager

import psycopg
from psycopg import sql

_SCHEMA = """
SELECT md5(string_agg(part, ';' ORDER BY part)) FROM (
    SELECT concat_ws(' ', attrelid::regclass, attname, atttypid, attnotnull) AS part FROM pg_attribute
        JOIN pg_class c ON c.oid = attrelid WHERE relnamespace = 'public'::regnamespace
    UNION ALL SELECT pg_get_triggerdef(t.oid) || tgenabled::text FROM pg_trigger t WHERE NOT tgisinternal
    UNION ALL SELECT pg_get_functiondef(p.oid) FROM pg_proc p WHERE pronamespace = 'public'::regnamespace
    UNION ALL SELECT conname || pg_get_constraintdef(oid) FROM pg_constraint
        WHERE connamespace = 'public'::regnamespace
    UNION ALL SELECT setconfig::text FROM pg_db_role_setting
        WHERE setdatabase = (SELECT oid FROM pg_database WHERE datname = current_database())
) parts
"""
_TABLES = "SELECT tablename FROM pg_tables WHERE schemaname = 'public' ORDER BY tablename"
_SEQUENCES = "SELECT sequencename, last_value FROM pg_sequences WHERE schemaname = 'public'"
_END_OTHERS = (
    "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = current_database() "
    "AND pid <> pg_backend_pid()"
)


class _Lent:
    """One database, and what it held when it was new.

    connection : to it, and kept, because a new one would have to learn all tables first
    """

    def __init__(self, url: str, connection: psycopg.Connection) -> None:
        self.url = url
        self._connection = connection
        with connection.transaction():
            self.schema = connection.execute(_SCHEMA).fetchone()
            self.rows = {name: self._copied(connection, name) for (name,) in connection.execute(_TABLES).fetchall()}
            self.emptied = self._emptied(connection.execute(_SEQUENCES).fetchall())

    def _emptied(self, sequences: list[tuple[str, int | None]]) -> sql.Composed:
        """Leaves no row in any table, and puts the sequences back; one statement after another in one message."""
        return sql.SQL("; ").join(
            [
                sql.SQL("SET LOCAL session_replication_role = replica"),  # no triggers, no foreign keys
                *(sql.SQL("DELETE FROM {}").format(sql.Identifier(table)) for table in self.rows),
                *(
                    sql.SQL("SELECT setval({}::regclass, {}, {})").format(name, last or 1, last is not None)
                    for name, last in sequences
                ),
            ]
        )

    def _copied(self, connection: psycopg.Connection, table: str) -> bytes:
        with connection.cursor().copy(sql.SQL("COPY {} TO STDOUT").format(sql.Identifier(table))) as copy:
            return b"".join(bytes(part) for part in copy)

    def put_back(self) -> bool:
        """Everything as it was; False where that cannot be done by putting rows back."""
        connection = self._connection
        with connection.transaction():
            connection.execute(_END_OTHERS)
            if connection.execute(_SCHEMA).fetchone() != self.schema:
                return False
            try:
                connection.execute(self.emptied)
            except psycopg.errors.InsufficientPrivilege:  # not a superuser: each test gets a new database
                return False
            for table, rows in self.rows.items():
                if rows:
                    into = sql.SQL("COPY {} FROM STDIN").format(sql.Identifier(table))
                    with connection.cursor().copy(into) as copy:
                        copy.write(rows)
        return True


class LentDatabases:
    """The databases of one worker, each copied from a template."""

    def __init__(self, new_database: Callable[[str], AbstractContextManager[str]]) -> None:
        self._new_database = new_database
        self._free: dict[str, list[_Lent]] = {}
        self._made = ExitStack()

    @contextmanager
    def lent(self, template: str) -> Iterator[str]:
        """Address of a database that is as its template."""
        free = self._free.setdefault(template, [])
        database = free.pop() if free else self._new(template)
        try:
            yield database.url
        finally:
            if database.put_back():
                free.append(database)

    def _new(self, template: str) -> _Lent:
        url = self._made.enter_context(self._new_database(template))
        return _Lent(url, self._made.enter_context(psycopg.connect(url)))

    def close(self) -> None:
        self._made.close()
