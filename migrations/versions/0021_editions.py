"""Published editions with their frozen files, the addresses of units, and the licence of what is published."""

import sqlalchemy as sa
from alembic import op

revision = "0021"
down_revision = "0020"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "editions",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("published_at", sa.Text, nullable=False),
        sa.Column("digest", sa.Text, nullable=False),
        sa.Column("manifest", sa.LargeBinary, nullable=False),
        sa.Column("numbers_sha256", sa.Text, nullable=False),
        sa.Column("numbers", sa.Integer, nullable=False),
        sa.Column("moved", sa.Integer, nullable=False),
        sa.Column("method_version", sa.Text, nullable=False),
        sa.Column("last_change_id", sa.Integer, nullable=False),
        sa.Column("made_from", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_editions"),
        sa.CheckConstraint("length(digest) = 64", name=op.f("ck_editions_digest")),
        sqlite_strict=True,
    )
    op.create_table(
        "edition_contents",
        sa.Column("sha256", sa.Text, nullable=False),
        sa.Column("size_bytes", sa.Integer, nullable=False),
        sa.Column("content", sa.LargeBinary, nullable=False),
        sa.PrimaryKeyConstraint("sha256", name="pk_edition_contents"),
        sa.CheckConstraint("length(sha256) = 64", name=op.f("ck_edition_contents_sha256")),
        sqlite_strict=True,
    )
    op.create_table(
        "unit_addresses",
        sa.Column("address", sa.Text, nullable=False),
        sa.Column("unit_under_test_id", sa.Integer, nullable=False),
        sa.Column("current", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("address", name="pk_unit_addresses"),
        sa.ForeignKeyConstraint(
            ["unit_under_test_id"],
            ["units_under_test.id"],
            name="fk_unit_addresses_unit_under_test_id_units_under_test",
            ondelete="CASCADE",
        ),
        sqlite_strict=True,
    )
    op.create_index("ix_unit_addresses_unit_under_test_id", "unit_addresses", ["unit_under_test_id"])
    op.add_column("bench", sa.Column("licence", sa.Text, nullable=False, server_default=""))


def downgrade() -> None:
    op.drop_column("bench", "licence")
    op.drop_table("unit_addresses")
    op.drop_table("edition_contents")
    op.drop_table("editions")
