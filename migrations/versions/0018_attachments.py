"""Photos and documents of units and trials."""

import sqlalchemy as sa
from alembic import op

revision = "0018"
down_revision = "0017"
branch_labels = None
depends_on = None


def upgrade() -> None:
    def refers(name: str, to: str, ondelete: str) -> sa.Column[int]:
        key = sa.ForeignKey(f"{to}.id", name=f"fk_attachments_{name}_{to}", ondelete=ondelete)
        return sa.Column(name, sa.Integer, key, nullable=True)

    op.create_table(
        "attachments",
        sa.Column("id", sa.Integer, nullable=False),
        refers("unit_under_test_id", "units_under_test", "CASCADE"),
        refers("trial_id", "trials", "CASCADE"),
        refers("sound_measurement_id", "sound_measurements", "SET NULL"),
        refers("power_measurement_id", "power_measurements", "SET NULL"),
        sa.Column(
            "sha256",
            sa.Text,
            sa.ForeignKey("raw_files.sha256", name="fk_attachments_sha256_raw_files"),
            nullable=False,
        ),
        sa.Column("file_name", sa.Text, nullable=False),
        sa.Column("media_type", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("width_px", sa.Integer, nullable=True),
        sa.Column("height_px", sa.Integer, nullable=True),
        sa.Column("shows", sa.Text, nullable=False),
        sa.Column("caption", sa.Text, nullable=False),
        sa.Column("taken_on", sa.Text, nullable=True),
        sa.Column("added_by", sa.Text, nullable=False),
        sa.Column("for_readers", sa.Integer, nullable=False),
        sa.Column("stored_at", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_attachments"),
        sa.CheckConstraint("(unit_under_test_id IS NULL) <> (trial_id IS NULL)", name="belongs_to_one"),
        sa.CheckConstraint("kind IN ('photo', 'document')", name="kind"),
        sa.CheckConstraint("kind = 'photo' OR for_readers = 0", name="for_readers"),
        sqlite_strict=True,
    )
    op.create_index("ix_attachments_unit", "attachments", ["unit_under_test_id"])
    op.create_index("ix_attachments_trial", "attachments", ["trial_id"])


def downgrade() -> None:
    op.drop_table("attachments")
