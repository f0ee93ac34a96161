"""Natural decay is pooled for each week, with the drift of the room."""

import sqlalchemy as sa
from alembic import op

revision = "0020"
down_revision = "0019"
branch_labels = None
depends_on = None

REAL = sa.Double().with_variant(sa.REAL(), "sqlite")
DAY = sa.Text()


def upgrade() -> None:
    op.add_column("natural_decay_pools", sa.Column("week_of", DAY, nullable=True))
    op.add_column("natural_decay_pools", sa.Column("drift_sd_per_month", REAL, nullable=True))


def downgrade() -> None:
    op.drop_column("natural_decay_pools", "drift_sd_per_month")
    op.drop_column("natural_decay_pools", "week_of")
