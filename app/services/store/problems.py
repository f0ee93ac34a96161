"""Translates database errors into messages that say what to do."""

import errno
import re

from sqlalchemy.exc import DBAPIError

from app.errors import StoreProblem

_NO_ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)

# Driver messages in lower case, and the message for the user.
_PROBLEMS = (
    (
        "database is locked|database table is locked",
        "{where} is held by another program, which did not let go of it in time. "
        "Close the other program, or wait until its work is done, and try again.",
    ),
    (
        "disk is full|no space left|could not extend file",
        "{where} cannot grow: the disk is full. Nothing of this step was stored. Make room on the disk and try again.",
    ),
    (
        "readonly|read-only|unable to open",
        "{where} cannot be written: {said}. Give the program the right to write there, "
        "or choose another folder with --data or HAZEFALL_DATA.",
    ),
    (
        "disk i/o error",
        "{where} cannot be read or written: the disk answered with an error. Nothing of this step was stored. "
        "Look whether the disk is full, over a quota or failing, then try again; `hazefall check` tells whether "
        "the store is sound.",
    ),
    (
        "malformed|not a database",
        "{where} is damaged or is no store: {said}. Keep the file as it is and bring back a copy "
        "with `hazefall restore`; copies made before each migration lie beside it.",
    ),
    (
        "(?s)(?=.*does not exist).*(database|role)",
        "{where} is not there: {server}. Make it first (createuser and createdb do), or correct the "
        "name in --database or HAZEFALL_DATABASE_URL.",
    ),
    (
        r"authentication failed|no pg_hba\.conf entry|no password supplied",
        "{where} lets nobody in with this name and password: {server}. Correct them in --database or "
        "HAZEFALL_DATABASE_URL, or keep the password in ~/.pgpass.",
    ),
    (
        "too many clients|remaining connection slots",
        "{where} takes no more connections: {server}. Start fewer server processes with --workers, or "
        "raise max_connections of the database server.",
    ),
    (
        "permission denied for",
        "{where} refuses this user: {server}. Make the user the owner of the database: "
        "ALTER DATABASE name OWNER TO user.",
    ),
    (
        "(?s)(?=.*connection).*(refused|failed|closed)",
        "{where} does not answer: {first_line}. Start the database server and try again.",
    ),
)


def store_problem_from(error: BaseException, where: str = "The store") -> StoreProblem | None:
    """The problem behind a driver error; None if the state of the store is not the cause.

    where : name of the store in the message, such as its path
    """
    cause = error.orig if isinstance(error, DBAPIError) and error.orig is not None else error
    said = str(cause).strip()
    low = said.lower()
    if "no such savepoint" in low and cause.__context__ is not None:
        # SQLite rolls back the whole transaction when the disk is full, so its savepoints are gone
        return store_problem_from(cause.__context__, where)
    for pattern, message in _PROBLEMS:
        if re.search(pattern, low):
            first_line = said.partition("\n")[0]
            return StoreProblem(
                message.format(where=where, said=said, server=_server_says(said), first_line=first_line)
            )
    return None


def _server_says(said: str) -> str:
    """The server's own message, without the address before it and the statement after it."""
    return (said.rpartition("FATAL:")[2] if "FATAL:" in said else said).strip().splitlines()[0].rstrip(".")


def file_problem_from(error: OSError) -> StoreProblem | None:
    """The problem behind a file that could not be written; None unless the disk is full."""
    if error.errno not in _NO_ROOM:
        return None
    where = error.filename or "A file"
    return StoreProblem(
        f"{where} cannot be written: there is no room for it ({error.strerror}). Nothing of this step was stored. Make "
        "room on the disk and try again."
    )
