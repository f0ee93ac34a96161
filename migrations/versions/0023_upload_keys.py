"""Keys of uploads, so that a repeated upload is answered with the trial of the first."""

import sqlalchemy as sa
from alembic import op

revision = "0023"
down_revision = "0022"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "upload_keys",
        sa.Column("idempotency_key", sa.Text, nullable=False),
        sa.Column("sha256", sa.Text, nullable=False),
        sa.Column("trial_id", sa.Integer, nullable=False),
        sa.Column("stored_at", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("idempotency_key", name="pk_upload_keys"),
        sa.ForeignKeyConstraint(["trial_id"], ["trials.id"], name="fk_upload_keys_trial_id_trials"),
        sqlite_strict=True,
    )
    op.create_index("ix_upload_keys_stored_at", "upload_keys", ["stored_at"])


def downgrade() -> None:
    op.drop_table("upload_keys")
