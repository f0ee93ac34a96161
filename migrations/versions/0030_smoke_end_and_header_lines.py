"""A mark for the end of the smoke, and the header line of logger profiles."""

import sqlalchemy as sa
from alembic import op

revision = "0030"
down_revision = "0029"
branch_labels = None
depends_on = None


def upgrade() -> None:
    real = sa.Double().with_variant(sa.REAL(), "sqlite")
    op.add_column("trials", sa.Column("smoke_end_s", real, nullable=True))
    op.add_column("logger_profiles", sa.Column("header_line", sa.Integer, nullable=True))


def downgrade() -> None:
    op.drop_column("logger_profiles", "header_line")
    op.drop_column("trials", "smoke_end_s")
