"""Translates database errors into messages that say what to do."""

import errno
import logging
import re
import shutil

from sqlalchemy.exc import DBAPIError

from app.errors import StoreProblem

_LOG = logging.getLogger("hazefall.store")
_NO_ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)

# Driver messages in lower case, and the message for the user.
_PROBLEMS = (
    (
        "database is locked|database table is locked",
        "{where} is locked by another program. Close that program, or wait until it has finished, and try again.",
    ),
    (
        "statement timeout|lock timeout",
        "{where} is busy: {server}. Nothing was saved in this step. Wait until other work has finished and try again.",
    ),
    (
        "disk is full|no space left|could not extend file",
        "{where} cannot grow: the disk is full. Nothing was saved in this step. Free disk space and try again.",
    ),
    (
        "readonly|read-only|unable to open",
        "{where} cannot be written: {said}. Give the program write permission, or choose another folder with --data "
        "or HAZEFALL_DATA.",
    ),
    (
        "disk i/o error",
        "{where} cannot be read or written: the disk reported an error. Nothing was saved in this step. Check "
        "whether the disk is full, over quota or failing, then try again. Run `hazefall check` to verify the store.",
    ),
    (
        "malformed|not a database",
        "{where} is damaged or not a store: {said}. Keep the file unchanged and restore a copy with `hazefall "
        "restore`; copies made before each migration are beside it.",
    ),
    (
        "(?s)(?=.*does not exist).*(database|role)",
        "{where} does not exist: {server}. Create it first (with createuser and createdb), or correct the name in "
        "--database or HAZEFALL_DATABASE_URL.",
    ),
    (
        r"authentication failed|no pg_hba\.conf entry|no password supplied",
        "{where} rejects this name and password: {server}. Correct them in --database or HAZEFALL_DATABASE_URL, or "
        "keep the password in ~/.pgpass.",
    ),
    (
        "too many clients|remaining connection slots",
        "{where} accepts no more connections: {server}. Start fewer server processes with --workers, or raise "
        "max_connections of the database server.",
    ),
    (
        "permission denied for",
        "{where} refuses this user: {server}. Make the user the owner of the database (ALTER DATABASE name OWNER TO "
        "user) and of the tables in it (REASSIGN OWNED BY their owner TO user).",
    ),
    (
        "(?s)failed to resolve host|(?=.*connection).*(refused|failed|closed|lost|terminating)",
        "{where} does not respond: {first_line}. Start the database server and try again.",
    ),
)


def store_problem_for_readers(error: BaseException) -> StoreProblem | None:
    """The same for whoever asks a server, perhaps without having signed in: what a database server says names hosts,
    users and databases, and is in the log alone.
    """
    problem = store_problem_from(error)
    if problem is None:
        return None
    _LOG.warning("%s", problem.message)
    return store_problem_from(error, server_says="the log of the program says why")


def store_problem_from(error: BaseException, where: str = "The store", *, server_says: str = "") -> StoreProblem | None:
    """The problem behind a driver error; None if the state of the store is not the cause.

    where : name of the store in the message, such as its path
    server_says : instead of what a database server says
    """
    cause = error.orig if isinstance(error, DBAPIError) and error.orig is not None else error
    said = str(cause).strip()
    low = said.lower()
    if "disk i/o error" in low and _disk_is_full(
        where
    ):  # SQLite says so where it cannot make its files beside the store
        low = "disk is full"
    if "no such savepoint" in low and cause.__context__ is not None:
        # SQLite rolls back the whole transaction when the disk is full, so its savepoints are gone
        return store_problem_from(cause.__context__, where, server_says=server_says)
    for pattern, message in _PROBLEMS:
        if re.search(pattern, low):
            server, first_line = server_says or _server_says(said), server_says or said.partition("\n")[0]
            return StoreProblem(message.format(where=where, said=said, server=server, first_line=first_line))
    return None


def _disk_is_full(where: str) -> bool:
    """Whether there is no room for the smallest file that SQLite makes beside a store."""
    try:
        return shutil.disk_usage(where).free < 2**15
    except OSError:  # not the path of a file
        return False


def _server_says(said: str) -> str:
    """The server's own message, without the address before it and the statement after it."""
    return (said.rpartition("FATAL:")[2] if "FATAL:" in said else said).strip().splitlines()[0].rstrip(".")


def file_problem_from(error: OSError, where: str = "A file") -> StoreProblem | None:
    """The problem behind a file that could not be written; None unless the disk is full.

    where : its name, for an error without one
    """
    if error.errno not in _NO_ROOM:
        return None
    where = error.filename or where
    return StoreProblem(
        f"{where} cannot be written: there is not enough space ({error.strerror}). Nothing was saved in this step. "
        "Free disk space and try again."
    )
