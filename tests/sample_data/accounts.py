"""Accounts for tests: hashing a password takes a tenth of a second by design, so each is hashed once."""

from functools import lru_cache

from sqlalchemy.orm import Session

from app.services.access.accounts import name_key
from app.services.access.passwords import password_hash
from app.storage.models.accounts import Account
from tests.conftest import NOW

PASSWORD = "several words in a row"


@lru_cache
def _hashed() -> str:
    return password_hash(PASSWORD)


def make_account(session: Session, name: str, role: str = "administer") -> int:
    """An account with `PASSWORD`, stored without going through the service."""
    account = Account(name=name, name_key=name_key(name), role=role, password_hash=_hashed(), created_at=NOW)
    session.add(account)
    session.flush()
    return account.id
