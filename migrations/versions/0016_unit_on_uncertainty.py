"""Results carry the uncertainty of unit on."""

import sqlalchemy as sa
from alembic import op

revision = "0016"
down_revision = "0015"
branch_labels = None
depends_on = None


def upgrade() -> None:
    real = sa.Double().with_variant(sa.REAL(), "sqlite")
    op.add_column("channel_results", sa.Column("unit_on_uncertainty_s", real, nullable=True))


def downgrade() -> None:
    op.drop_column("channel_results", "unit_on_uncertainty_s")
