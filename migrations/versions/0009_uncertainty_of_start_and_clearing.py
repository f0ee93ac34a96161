"""The start level and the time to clear of a trial get their standard uncertainties; empty until analysed again."""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None

NEW = ("start_level_uncertainty", "time_to_clear_uncertainty_min")


def upgrade() -> None:
    for name in NEW:
        op.add_column("channel_results", sa.Column(name, sa.Double().with_variant(sa.REAL(), "sqlite"), nullable=True))


def downgrade() -> None:
    for name in reversed(NEW):
        op.drop_column("channel_results", name)
