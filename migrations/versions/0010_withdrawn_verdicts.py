"""A published verdict can be withdrawn: when, by whom and why; the text itself stays."""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "verdict_withdrawals",
        sa.Column("verdict_id", sa.Integer(), nullable=False),
        sa.Column("withdrawn_by", sa.Text(), nullable=False),
        sa.Column("withdrawn_at", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["verdict_id"],
            ["verdicts.id"],
            name=op.f("fk_verdict_withdrawals_verdict_id_verdicts"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("verdict_id", name=op.f("pk_verdict_withdrawals")),
        sqlite_strict=True,
    )


def downgrade() -> None:
    op.drop_table("verdict_withdrawals")
