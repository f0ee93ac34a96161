"""Random tokens that stand for a sign-in or a script: shown once, kept only as their hash."""

import hashlib
import secrets

_RANDOM_BYTES = 32


def new_token(prefix: str = "") -> str:
    """256 random bits as text; nobody guesses it, so a plain hash of it is enough."""
    return prefix + secrets.token_urlsafe(_RANDOM_BYTES)


def token_hash(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "surrogateescape")).hexdigest()
