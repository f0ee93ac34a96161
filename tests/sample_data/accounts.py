"""Accounts for tests, with a cheap hash: by design each look at one costs what making it did, a tenth of a second."""

from functools import lru_cache

from argon2 import PasswordHasher
from sqlalchemy.orm import Session

from app.services.access.accounts import name_key
from app.storage.models.accounts import Account
from tests.conftest import NOW

PASSWORD = "several words in a row"


@lru_cache
def _hashed() -> str:
    return PasswordHasher(time_cost=1, memory_cost=8, parallelism=1).hash(PASSWORD)


def make_account(session: Session, name: str, role: str = "administer") -> int:
    """An account with `PASSWORD`, stored without going through the service."""
    account = Account(name=name, name_key=name_key(name), role=role, password_hash=_hashed(), created_at=NOW)
    session.add(account)
    session.flush()
    return account.id
