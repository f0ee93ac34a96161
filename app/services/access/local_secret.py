"""The secret of a bench without accounts: a file that only its owner can read, and links that work once.

Whoever can read the file may use the bench. Scripts send its content; a browser gets a pass made from it by opening a
link that works once.
"""

import hashlib
import hmac
import os
import secrets
import stat
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from app.errors import StoreProblem
from app.services.access.secret_tokens import new_token, token_hash
from app.services.store.problems import file_problem_from

PREFIX = "hazefall_local_"
LINK_VALID_FOR = timedelta(hours=24)
PASS_VALID_FOR = timedelta(days=7)
_SHORTEST = 32  # a shorter content could be guessed, or is a file that was cut off
_LINKS = "local-links"
ENTER, NETWORK_CHECK = "enter", "network check"  # purposes of a token that works once
_FOR_OTHERS = stat.S_IRWXG | stat.S_IRWXO


def secret_file(folder: Path) -> Path:
    return folder / "local-secret"


def ensure_secret(folder: Path) -> str:
    """The secret of the bench in a folder, created if there is none.

    A file that others on the machine can read is replaced, because they may know its content.
    Raises StoreProblem where the file cannot be written.
    """
    path = secret_file(folder)
    try:
        found = read_secret(folder)
        if found and not (os.name == "posix" and path.stat().st_mode & _FOR_OTHERS):
            return found
        made = new_token(PREFIX)
        handle, name = tempfile.mkstemp(dir=folder, prefix="local-secret-")  # readable by the owner only
        unfinished = Path(name)
        try:
            with os.fdopen(handle, "w", encoding="ascii") as file:
                file.write(f"{made}\n")
            unfinished.replace(path)
        finally:
            unfinished.unlink(missing_ok=True)
    except OSError as error:
        raise file_problem_from(error, str(path)) or StoreProblem(
            f"The secret of the bench cannot be written to {path}: {error.strerror}. Give the program write "
            "permission for the folder."
        ) from error
    return made


def read_secret(folder: Path) -> str:
    """The secret, or "" if there is none; without it nobody gets in."""
    try:
        found = secret_file(folder).read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError):
        return ""
    return found if len(found) >= _SHORTEST else ""


def is_secret(folder: Path, given: str) -> bool:
    """Whether a script's token is the secret of this bench."""
    secret = read_secret(folder)
    return bool(secret) and hmac.compare_digest(given.encode("utf-8", "replace"), secret.encode())


def new_link_token(folder: Path, purpose: str = ENTER) -> str:
    """Token of a link that works once, within a day, for one purpose. Only its hash is stored, as the name of a file.

    Raises StoreProblem where the folder cannot be written.
    """
    links = folder / _LINKS
    try:
        return _new_token_file(links, purpose)
    except OSError as error:
        raise file_problem_from(error, str(links)) or StoreProblem(
            f"The folder {links} cannot be written: {error.strerror}. Give the program write permission for it."
        ) from error


def _new_token_file(links: Path, purpose: str) -> str:
    links.mkdir(mode=0o700, exist_ok=True)
    for path in links.iterdir():  # expired ones
        if _age_s(path) > LINK_VALID_FOR.total_seconds():
            path.unlink(missing_ok=True)
    token = secrets.token_urlsafe(24)
    _token_file(links, token, purpose).touch(mode=0o600)
    return token


def use_link_token(folder: Path, token: str, purpose: str = ENTER) -> bool:
    """Whether the token is valid; it is not valid again. Of several requests at once only one gets True."""
    path = _token_file(folder / _LINKS, token, purpose)
    try:
        age_s = _age_s(path)
        path.unlink()
    except OSError:
        return False
    return age_s <= LINK_VALID_FOR.total_seconds()


def _token_file(links: Path, token: str, purpose: str) -> Path:
    return links / token_hash(f"{purpose} {token}")


def browser_pass(secret: str, now: datetime | None = None) -> str:
    """Value of the cookie of a browser: its last second and a signature made with the secret."""
    ends = int(((now or datetime.now(UTC)) + PASS_VALID_FOR).timestamp())
    return f"{ends}.{_signature(secret, ends)}"


def is_browser_pass(secret: str, given: str, now: datetime | None = None) -> bool:
    """Whether a cookie was made with this secret and has not expired.

    >>> made = browser_pass("s" * 40)
    >>> is_browser_pass("s" * 40, made), is_browser_pass("t" * 40, made), is_browser_pass("", made)
    (True, False, False)
    """
    ends, _, signature = given.partition(".")
    if not secret or not (ends.isascii() and ends.isdecimal() and len(ends) < 15):
        return False
    fits = hmac.compare_digest(signature.encode("utf-8", "replace"), _signature(secret, int(ends)).encode())
    return fits and int(ends) >= (now or datetime.now(UTC)).timestamp()


def bench_mark(secret: str) -> str:
    """Short mark of a bench. Cookies of one host name reach all its ports, so two benches need two cookie names."""
    return hashlib.sha256(f"name of {secret}".encode()).hexdigest()[:8]


def _signature(secret: str, ends: int) -> str:
    return hmac.new(secret.encode(), f"browser pass until {ends}".encode(), hashlib.sha256).hexdigest()


def _age_s(path: Path) -> float:
    return time.time() - path.stat().st_mtime
