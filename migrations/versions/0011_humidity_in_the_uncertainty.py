"""How much of a rate's uncertainty comes from humidity that changed in the run; empty until analysed again."""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    column = sa.Column("humidity_uncertainty_per_h", sa.Double().with_variant(sa.REAL(), "sqlite"), nullable=True)
    op.add_column("channel_results", column)


def downgrade() -> None:
    op.drop_column("channel_results", "humidity_uncertainty_per_h")
