"""The repeatability of the bench for each channel, as it is lent to settings with few trials."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

REAL = sa.Double().with_variant(sa.REAL(), "sqlite")


def upgrade() -> None:
    op.create_table(
        "bench_repeatability",
        sa.Column("channel", sa.Text(), nullable=False),
        sa.Column("relative_sd", REAL, nullable=False),
        sa.Column("degrees_of_freedom", REAL, nullable=False),
        sa.Column("groups", sa.Integer(), nullable=False),
        sa.Column("trials", sa.Integer(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("computed_at", sa.Text(), nullable=False),
        sa.CheckConstraint("relative_sd >= 0", name=op.f("ck_bench_repeatability_relative_sd")),
        sa.PrimaryKeyConstraint("channel", name=op.f("pk_bench_repeatability")),
        sqlite_strict=True,
    )


def downgrade() -> None:
    op.drop_table("bench_repeatability")
