"""The errors of the fits that were taken off the pooled scatter, kept beside the repeatability."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

REAL = sa.Double().with_variant(sa.REAL(), "sqlite")


def upgrade() -> None:
    op.add_column("bench_repeatability", sa.Column("relative_fit_sd", REAL, nullable=False, server_default="0"))


def downgrade() -> None:
    op.drop_column("bench_repeatability", "relative_fit_sd")
