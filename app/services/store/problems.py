"""Translates database errors into messages that say what to do."""

import errno

from sqlalchemy.exc import DBAPIError

from app.errors import StoreProblem

_NO_ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


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
    if "database is locked" in low or "database table is locked" in low:
        return StoreProblem(
            f"{where} is held by another program, which did not let go of it in time. "
            "Close the other program, or wait until its work is done, and try again."
        )
    if "disk is full" in low or "no space left" in low or "could not extend file" in low:
        return StoreProblem(
            f"{where} cannot grow: the disk is full. Nothing of this step was stored. "
            "Make room on the disk and try again."
        )
    if "readonly" in low or "read-only" in low or "unable to open" in low:
        return StoreProblem(
            f"{where} cannot be written: {said}. Give the program the right to write there, "
            "or choose another folder with --data or HAZEFALL_DATA."
        )
    if "disk i/o error" in low:
        return StoreProblem(
            f"{where} cannot be read or written: the disk answered with an error. Nothing of this step was stored. "
            "Look whether the disk is full, over a quota or failing, then try again; `hazefall check` tells whether "
            "the store is sound."
        )
    if "malformed" in low or "not a database" in low:
        return StoreProblem(
            f"{where} is damaged or is no store: {said}. Keep the file as it is and bring back a copy "
            "with `hazefall restore`; copies made before each migration lie beside it."
        )
    if "does not exist" in low and ("database" in low or "role" in low):
        return StoreProblem(
            f"{where} is not there: {_server_says(said)}. Make it first (createuser and createdb do), or correct the "
            "name in --database or HAZEFALL_DATABASE_URL."
        )
    if "authentication failed" in low or "no pg_hba.conf entry" in low or "no password supplied" in low:
        return StoreProblem(
            f"{where} lets nobody in with this name and password: {_server_says(said)}. Correct them in --database or "
            "HAZEFALL_DATABASE_URL, or keep the password in ~/.pgpass."
        )
    if "too many clients" in low or "remaining connection slots" in low:
        return StoreProblem(
            f"{where} takes no more connections: {_server_says(said)}. Start fewer server processes with --workers, or "
            "raise max_connections of the database server."
        )
    if "permission denied for" in low:
        return StoreProblem(
            f"{where} refuses this user: {_server_says(said)}. Make the user the owner of the database: "
            "ALTER DATABASE name OWNER TO user."
        )
    if "connection" in low and ("refused" in low or "failed" in low or "closed" in low):
        return StoreProblem(
            f"{where} does not answer: {said.splitlines()[0]}. Start the database server and try again."
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
