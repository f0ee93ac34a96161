"""Indexes that long benches are read from without their tables.

On 40,000 trials the settings of a room take 5 ms instead of 29, a search of the names of logs 3 ms instead of 7, and
the newest logs 1 ms instead of 13.
"""

from alembic import op

revision = "0038"
down_revision = "0037"
branch_labels = None
depends_on = None
_NAME, _BEFORE = "ix_trials_room", ("room_id", "kind")


def upgrade() -> None:
    op.drop_index(_NAME, "trials")
    op.create_index(_NAME, "trials", [*_BEFORE, "setting_id", "trashed_at"])
    op.create_index("ix_logs_file_name", "logs", ["file_name"])
    op.create_index("ix_logs_started", "logs", ["clock_is_known", "started_at"])


def downgrade() -> None:
    op.drop_index("ix_logs_started", "logs")
    op.drop_index("ix_logs_file_name", "logs")
    op.drop_index(_NAME, "trials")
    op.create_index(_NAME, "trials", [*_BEFORE])
