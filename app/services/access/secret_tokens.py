"""Random tokens for sessions and scripts: shown once, stored only as a hash."""

import hashlib
import secrets

_RANDOM_BYTES = 32


def new_token(prefix: str = "") -> str:
    """256 random bits as text. They cannot be guessed, so a plain hash is enough."""
    return prefix + secrets.token_urlsafe(_RANDOM_BYTES)


def token_hash(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "surrogateescape")).hexdigest()
