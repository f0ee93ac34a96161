"""Accounts, their sign-ins, API tokens, and failed sign-in attempts.

No secret is stored in the clear: passwords as argon2 hashes, session and API tokens as SHA-256 of 256 random bits.
"""

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from app.storage.models.base import STRICT, Base

_ROLES = "role IN ('view', 'add', 'edit', 'administer')"


class Account(Base):
    """One person's account. Accounts are disabled, never deleted, because the record of changes names them.

    name_key : case-folded name, so that no two names look alike
    """

    __tablename__ = "accounts"
    __table_args__ = (UniqueConstraint("name_key"), CheckConstraint(_ROLES, name="role"), STRICT)

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str]
    name_key: Mapped[str]
    role: Mapped[str]
    password_hash: Mapped[str]
    created_at: Mapped[datetime]
    disabled_at: Mapped[datetime | None]


class SignIn(Base):
    """One signed-in browser session. It expires after a time without use, and at `expires_at` in any case."""

    __tablename__ = "sign_ins"
    __table_args__ = (UniqueConstraint("token_sha256"), Index("ix_sign_ins_account", "account_id"), STRICT)

    id: Mapped[int] = mapped_column(primary_key=True)
    account_id: Mapped[int] = mapped_column(ForeignKey("accounts.id", ondelete="CASCADE"))
    token_sha256: Mapped[str]
    started_at: Mapped[datetime]
    last_used_at: Mapped[datetime]
    expires_at: Mapped[datetime]


class SignInAttempt(Base):
    """A sign-in attempt that failed (or is pending), under the hash of the name or address it counts for."""

    __tablename__ = "sign_in_attempts"
    __table_args__ = (Index("ix_sign_in_attempts_key", "counted_by", "at"), STRICT)

    id: Mapped[int] = mapped_column(primary_key=True)
    counted_by: Mapped[str]
    at: Mapped[datetime]


class ApiToken(Base):
    """Token of a script. Its rights are limited by its own role and by the role of its account."""

    __tablename__ = "api_tokens"
    __table_args__ = (
        UniqueConstraint("token_sha256"),
        CheckConstraint(_ROLES, name="role"),
        Index("ix_api_tokens_account", "account_id"),
        STRICT,
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    account_id: Mapped[int] = mapped_column(ForeignKey("accounts.id", ondelete="CASCADE"))
    name: Mapped[str]
    role: Mapped[str]
    token_sha256: Mapped[str]
    token_start: Mapped[str]
    created_at: Mapped[datetime]
    last_used_at: Mapped[datetime | None]
    revoked_at: Mapped[datetime | None]
