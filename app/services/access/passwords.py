"""Passwords: rules, hashing (argon2id, RFC 9106) and verification."""

import threading
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from typing import TYPE_CHECKING

from app.errors import InvalidValue, TooManyAttempts

if TYPE_CHECKING:
    from argon2 import PasswordHasher

SHORTEST, LONGEST = 12, 256
# Verified when no account has the name, so that a wrong name takes as long as a wrong password. It is the hash of
# discarded random bytes; a test checks that its cost equals that of a new hash.
OF_NOBODY = "$argon2id$v=19$m=65536,t=3,p=4$GYfoNi4ITyHUeqNhoRTiCA$1iulx3NA4lg8uuxMypiFKugjgIa6mDLNl+wPPzdq5sw"
# Each verification takes 64 MiB; more than two at once would only wait for the processor. Those that wait occupy a
# thread each, so there may be only a few of them.
_AT_ONCE = threading.BoundedSemaphore(2)
_MOST_WAITING = 6
_WAITING = threading.BoundedSemaphore(2 + _MOST_WAITING)


def checked_password(password: str, name: str) -> str:
    """The password in normal form (NFKC). Raises InvalidValue if it is too easy to guess."""
    plain = _one_spelling(password)
    if len(plain) < SHORTEST:
        raise InvalidValue(
            f"The password has {len(plain)} characters; it needs at least {SHORTEST}. Several words in a row are easy "
            "to remember.",
            field="password",
        )
    if len(plain) > LONGEST:
        raise InvalidValue(
            f"The password has {len(plain)} characters; at most {LONGEST} are allowed.", field="password"
        )
    if len(set(plain)) < 5 or plain.casefold() == name.strip().casefold():
        raise InvalidValue(
            "The password is the name, or repeats a few characters. Choose one that is hard to guess.",
            field="password",
        )
    return plain


def password_hash(password: str) -> str:
    """Argon2id hash of a password, with its own salt."""
    with _turn():
        return _hasher().hash(_one_spelling(password))


def password_matches(kept: str, password: str) -> bool:
    from argon2.exceptions import InvalidHashError, VerificationError  # loaded when used: only a sign-in needs it

    if len(password) > 4 * LONGEST:
        return False
    with _turn():
        try:
            return _hasher().verify(kept, _one_spelling(password))
        except (VerificationError, InvalidHashError):
            return False


@contextmanager
def _turn() -> Iterator[None]:
    """Waits for one of the places. Raises TooManyAttempts where others wait already, so that pages stay quick."""
    if not _WAITING.acquire(blocking=False):
        raise TooManyAttempts("Many people are signing in at this moment. Wait some seconds and try again.")
    try:
        with _AT_ONCE:
            yield
    finally:
        _WAITING.release()


@lru_cache
def _hasher() -> "PasswordHasher":
    from argon2 import PasswordHasher  # loaded when used: only a sign-in needs it

    return PasswordHasher(time_cost=3, memory_cost=65_536, parallelism=4)  # RFC 9106, 4, second recommendation


def _one_spelling(password: str) -> str:
    return unicodedata.normalize("NFKC", password)
