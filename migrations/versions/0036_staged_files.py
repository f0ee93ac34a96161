"""Uploads that wait for confirmation, for benches on a database server."""

import sqlalchemy as sa
from alembic import op

revision = "0036"
down_revision = "0035"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "staged_files",
        *(sa.Column(name, sa.Text, nullable=False) for name in ("token", "file_name")),
        sa.Column("size_bytes", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        *(sa.Column(name, sa.Text, nullable=False) for name in ("sha256", "staged_at")),
        sa.PrimaryKeyConstraint("token", name="pk_staged_files"),
        sqlite_strict=True,
    )
    op.create_index("ix_staged_files_staged_at", "staged_files", ["staged_at"])
    op.create_table(
        "staged_pieces",
        sa.Column("token", sa.Text, nullable=False),
        sa.Column("place", sa.Integer, nullable=False, autoincrement=False),
        sa.Column("content", sa.LargeBinary, nullable=False),
        sa.PrimaryKeyConstraint("token", "place", name="pk_staged_pieces"),
        sa.ForeignKeyConstraint(
            ["token"], ["staged_files.token"], name="fk_staged_pieces_token_staged_files", ondelete="CASCADE"
        ),
        sqlite_strict=True,
    )


def downgrade() -> None:
    op.drop_table("staged_pieces")
    op.drop_table("staged_files")
