"""Results carry the part of their uncertainty that comes from a curved logger."""

import sqlalchemy as sa
from alembic import op

revision = "0035"
down_revision = "0034"
branch_labels = None
depends_on = None


def upgrade() -> None:
    real = sa.Double().with_variant(sa.REAL(), "sqlite")
    op.add_column("channel_results", sa.Column("curvature_uncertainty_per_h", real, nullable=True))


def downgrade() -> None:
    op.drop_column("channel_results", "curvature_uncertainty_per_h")
