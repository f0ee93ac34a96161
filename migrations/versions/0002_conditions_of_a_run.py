"""Humidity of a run beside its result, and what the pooled natural decay of one day is known to."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

REAL = sa.Double().with_variant(sa.REAL(), "sqlite")


def upgrade() -> None:
    op.add_column("channel_results", sa.Column("relative_humidity_pct", REAL, nullable=True))
    op.add_column("natural_decay_pools", sa.Column("between_run_source", sa.Text(), nullable=False, server_default=""))
    op.add_column("natural_decay_pools", sa.Column("on_one_day_uncertainty_per_h", REAL, nullable=True))
    op.add_column("natural_decay_pools", sa.Column("on_one_day_degrees_of_freedom", REAL, nullable=True))
    op.add_column("natural_decay_pools", sa.Column("heterogeneity_p", REAL, nullable=True))


def downgrade() -> None:
    op.drop_column("natural_decay_pools", "heterogeneity_p")
    op.drop_column("natural_decay_pools", "on_one_day_degrees_of_freedom")
    op.drop_column("natural_decay_pools", "on_one_day_uncertainty_per_h")
    op.drop_column("natural_decay_pools", "between_run_source")
    op.drop_column("channel_results", "relative_humidity_pct")
