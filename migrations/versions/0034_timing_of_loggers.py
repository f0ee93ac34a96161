"""Loggers have an averaging time, the place of its time stamp, and how long they are on before a log."""

import sqlalchemy as sa
from alembic import op

revision = "0034"
down_revision = "0030"
branch_labels = None
depends_on = None


def upgrade() -> None:
    real = sa.Double().with_variant(sa.REAL(), "sqlite")
    op.add_column("loggers", sa.Column("averaging_s", real, nullable=True))
    op.add_column("loggers", sa.Column("time_stamp", sa.Text(), nullable=False, server_default=""))
    op.add_column("loggers", sa.Column("on_before_min", real, nullable=True))
    op.add_column("channel_results", sa.Column("stamped_late_s", real, nullable=True))


def downgrade() -> None:
    op.drop_column("channel_results", "stamped_late_s")
    for name in ("on_before_min", "time_stamp", "averaging_s"):
        op.drop_column("loggers", name)
