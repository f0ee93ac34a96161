"""Accounts: who may use the bench, and in which role. They are never deleted, because the record names them."""

import unicodedata
from collections.abc import Sequence
from datetime import UTC, datetime

from sqlalchemy import delete, exists, func, select
from sqlalchemy.orm import Session

from app.errors import AlreadyStored, InvalidValue, NotFound
from app.services.access.passwords import checked_password, password_hash
from app.services.access.roles import ADMINISTER, checked_role
from app.services.store.audit import AT_THE_DESK, record_change
from app.services.store.checked_values import required_text
from app.storage.models.accounts import Account as Account
from app.storage.models.accounts import SignIn

SUBJECT = "account"
LONGEST_ACCOUNT_NAME = 60


def accounts_exist(session: Session) -> bool:
    """Whether any account exists; from then on everyone signs in."""
    return bool(session.scalar(select(exists(select(Account.id)))))


def list_accounts(session: Session) -> Sequence[Account]:
    """All accounts sorted by name, including disabled ones."""
    return session.scalars(select(Account).order_by(Account.name_key)).all()


def get_account(session: Session, account_id: int) -> Account:
    account = session.get(Account, account_id)
    if account is None:
        raise NotFound("account", account_id)
    return account


def find_account(session: Session, name: str) -> Account | None:
    """The account with this name, ignoring case and surrounding blanks."""
    return session.scalar(select(Account).where(Account.name_key == name_key(name)))


def account_named(session: Session, name: str) -> Account:
    account = find_account(session, name)
    if account is None:
        raise NotFound("account", repr(name[:LONGEST_ACCOUNT_NAME]))
    return account


def add_account(session: Session, name: str, role: str, password: str, *, who: str = AT_THE_DESK) -> int:
    """Adds an account and returns its id. The first one must be an administrator.

    Raises InvalidValue, naming the field; AlreadyStored where the name is taken.
    """
    checked_name = _checked_name(name)
    if find_account(session, checked_name) is not None:
        raise AlreadyStored(f"An account {checked_name!r} already exists. Choose another name.", field="name")
    if checked_role(role) != ADMINISTER and not accounts_exist(session):
        raise InvalidValue(
            f"The first account cannot have the role {role!r}; it needs the role {ADMINISTER!r} so that it can manage "
            "the others.",
            field="role",
        )
    account = Account(
        name=checked_name,
        name_key=name_key(checked_name),
        role=role,
        password_hash=password_hash(checked_password(password, checked_name)),
        created_at=datetime.now(UTC),
    )
    session.add(account)
    session.flush()
    record_change(session, who, "added", SUBJECT, account.id, after=f"{checked_name}, {role}")
    return account.id


def change_role(session: Session, account_id: int, role: str, *, who: str = AT_THE_DESK) -> None:
    """Changes the role from the next request on. Raises InvalidValue for the last administrator."""
    account = get_account(session, account_id)
    before = account.role
    if checked_role(role) == before:
        return
    if before == ADMINISTER:
        _refuse_without_administrator(session, account)
    account.role = role
    record_change(session, who, "changed", SUBJECT, account_id, "role", before, role)


def disable_account(session: Session, account_id: int, *, who: str = AT_THE_DESK) -> None:
    """Disables the account and ends all its sign-ins; its tokens do not work while it is disabled."""
    account = get_account(session, account_id)
    if account.disabled_at is not None:
        return
    if account.role == ADMINISTER:
        _refuse_without_administrator(session, account)
    account.disabled_at = datetime.now(UTC)
    end_sign_ins(session, account_id)
    record_change(session, who, "disabled", SUBJECT, account_id)


def enable_account(session: Session, account_id: int, *, who: str = AT_THE_DESK) -> None:
    account = get_account(session, account_id)
    if account.disabled_at is None:
        return
    account.disabled_at = None
    record_change(session, who, "enabled", SUBJECT, account_id)


def set_password(
    session: Session, account_id: int, password: str, *, who: str = AT_THE_DESK, kept_sign_in: int | None = None
) -> None:
    """Stores a new password and ends the account's sign-ins, except the one that asked for it."""
    account = get_account(session, account_id)
    account.password_hash = password_hash(checked_password(password, account.name))
    end_sign_ins(session, account_id, apart_from=kept_sign_in)
    record_change(session, who, "changed", SUBJECT, account_id, "password")


def end_sign_ins(session: Session, account_id: int, apart_from: int | None = None) -> None:
    ended = delete(SignIn).where(SignIn.account_id == account_id)
    session.execute(ended if apart_from is None else ended.where(SignIn.id != apart_from))


def name_key(name: str) -> str:
    """Comparison key of a name: Unicode-normalised and case-folded.

    >>> name_key("  Ann ") == name_key("ANN")
    True
    """
    return unicodedata.normalize("NFKC", name).strip().casefold()


def _checked_name(name: str) -> str:
    checked = unicodedata.normalize("NFC", required_text(name, "name", "The name", LONGEST_ACCOUNT_NAME))
    if not checked.isprintable():
        raise InvalidValue(
            f"The name {checked!r} contains invisible characters. Use letters, digits and spaces.", field="name"
        )
    return checked


def _refuse_without_administrator(session: Session, account: Account) -> None:
    others = select(func.count()).where(
        Account.role == ADMINISTER, Account.disabled_at.is_(None), Account.id != account.id
    )
    if not session.scalar(others):
        raise InvalidValue(
            f"{account.name} is the only administrator of the bench. Give another account that role first.",
            field="role",
        )
