"""People who may use the bench, their sign-ins, the tokens of their scripts, and failed tries at a sign-in."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

ROLES = "role IN ('view', 'add', 'edit', 'administer')"


def upgrade() -> None:
    op.create_table(
        "accounts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("name_key", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("password_hash", sa.Text(), nullable=False),
        sa.Column("created_at", sa.Text(), nullable=False),
        sa.Column("disabled_at", sa.Text(), nullable=True),
        sa.CheckConstraint(ROLES, name=op.f("ck_accounts_role")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_accounts")),
        sa.UniqueConstraint("name_key", name=op.f("uq_accounts_name_key")),
        sqlite_strict=True,
    )
    op.create_table(
        "sign_ins",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("token_sha256", sa.Text(), nullable=False),
        sa.Column("started_at", sa.Text(), nullable=False),
        sa.Column("last_used_at", sa.Text(), nullable=False),
        sa.Column("expires_at", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.id"], name=op.f("fk_sign_ins_account_id_accounts"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_ins")),
        sa.UniqueConstraint("token_sha256", name=op.f("uq_sign_ins_token_sha256")),
        sqlite_strict=True,
    )
    op.create_index("ix_sign_ins_account", "sign_ins", ["account_id"])
    op.create_table(
        "sign_in_attempts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("counted_by", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_in_attempts")),
        sqlite_strict=True,
    )
    op.create_index("ix_sign_in_attempts_key", "sign_in_attempts", ["counted_by", "at"])
    op.create_table(
        "api_tokens",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("token_sha256", sa.Text(), nullable=False),
        sa.Column("token_start", sa.Text(), nullable=False),
        sa.Column("created_at", sa.Text(), nullable=False),
        sa.Column("last_used_at", sa.Text(), nullable=True),
        sa.Column("revoked_at", sa.Text(), nullable=True),
        sa.CheckConstraint(ROLES, name=op.f("ck_api_tokens_role")),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.id"], name=op.f("fk_api_tokens_account_id_accounts"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_api_tokens")),
        sa.UniqueConstraint("token_sha256", name=op.f("uq_api_tokens_token_sha256")),
        sqlite_strict=True,
    )
    op.create_index("ix_api_tokens_account", "api_tokens", ["account_id"])


def downgrade() -> None:
    op.drop_index("ix_api_tokens_account", table_name="api_tokens")
    op.drop_table("api_tokens")
    op.drop_index("ix_sign_in_attempts_key", table_name="sign_in_attempts")
    op.drop_table("sign_in_attempts")
    op.drop_index("ix_sign_ins_account", table_name="sign_ins")
    op.drop_table("sign_ins")
    op.drop_table("accounts")
