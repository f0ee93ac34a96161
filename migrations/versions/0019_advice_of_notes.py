"""Notes carry what to do about them, as an action with values."""

import sqlalchemy as sa
from alembic import op

revision = "0019"
down_revision = "0018"
branch_labels = None
depends_on = None


def upgrade() -> None:
    real = sa.Double().with_variant(sa.REAL(), "sqlite")
    op.add_column("result_notes", sa.Column("advice", sa.Text(), nullable=False, server_default=""))
    op.add_column("result_notes", sa.Column("advice_value", real, nullable=True))
    op.add_column("result_notes", sa.Column("advice_other_value", real, nullable=True))


def downgrade() -> None:
    for name in ("advice_other_value", "advice_value", "advice"):
        op.drop_column("result_notes", name)
