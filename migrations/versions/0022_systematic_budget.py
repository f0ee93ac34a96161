"""Results carry the parts of the systematic budget of the decay rate."""

import sqlalchemy as sa
from alembic import op

revision = "0022"
down_revision = "0021"
branch_labels = None
depends_on = None

COLUMNS = ("background_drift_uncertainty_per_h", "warm_up_uncertainty_per_h")


def upgrade() -> None:
    real = sa.Double().with_variant(sa.REAL(), "sqlite")
    for name in COLUMNS:
        op.add_column("channel_results", sa.Column(name, real, nullable=True))


def downgrade() -> None:
    for name in reversed(COLUMNS):
        op.drop_column("channel_results", name)
