"""What reviewers write: edited strengths and weaknesses, verdicts, and the figures that each verdict rested on."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

REAL = sa.Double().with_variant(sa.REAL(), "sqlite")


def upgrade() -> None:
    op.create_table(
        "review_points",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_under_test_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("evidence", sa.Text(), nullable=False),
        sa.Column("written_by", sa.Text(), nullable=False),
        sa.Column("written_at", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.CheckConstraint("kind IN ('strength', 'weakness')", name=op.f("ck_review_points_kind")),
        sa.CheckConstraint("state IN ('kept', 'left out')", name=op.f("ck_review_points_state")),
        sa.CheckConstraint("version > 0", name=op.f("ck_review_points_version")),
        sa.ForeignKeyConstraint(
            ["unit_under_test_id"],
            ["units_under_test.id"],
            name=op.f("fk_review_points_unit_under_test_id_units_under_test"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_review_points")),
        sa.UniqueConstraint(
            "unit_under_test_id", "key", "version", name=op.f("uq_review_points_unit_under_test_id_key_version")
        ),
        sqlite_strict=True,
    )
    op.create_table(
        "verdicts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("unit_under_test_id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("written_by", sa.Text(), nullable=False),
        sa.Column("written_at", sa.Text(), nullable=False),
        sa.Column("method_version", sa.Text(), nullable=False),
        sa.CheckConstraint("state IN ('draft', 'published')", name=op.f("ck_verdicts_state")),
        sa.CheckConstraint("version > 0", name=op.f("ck_verdicts_version")),
        sa.ForeignKeyConstraint(
            ["unit_under_test_id"],
            ["units_under_test.id"],
            name=op.f("fk_verdicts_unit_under_test_id_units_under_test"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_verdicts")),
        sa.UniqueConstraint("unit_under_test_id", "version", name=op.f("uq_verdicts_unit_under_test_id_version")),
        sqlite_strict=True,
    )
    op.create_index("ix_verdicts_state", "verdicts", ["state"])
    op.create_table(
        "verdict_figures",
        sa.Column("verdict_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("value", REAL, nullable=True),
        sa.Column("shown", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["verdict_id"], ["verdicts.id"], name=op.f("fk_verdict_figures_verdict_id_verdicts"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("verdict_id", "position", name=op.f("pk_verdict_figures")),
        sqlite_strict=True,
    )


def downgrade() -> None:
    op.drop_table("verdict_figures")
    op.drop_index("ix_verdicts_state", table_name="verdicts")
    op.drop_table("verdicts")
    op.drop_table("review_points")
