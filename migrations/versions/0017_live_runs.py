"""Live runs: readings and events of a trial that is still being measured."""

import sqlalchemy as sa
from alembic import op

revision = "0017"
down_revision = "0016"
branch_labels = None
depends_on = None

_REAL = sa.Double().with_variant(sa.REAL(), "sqlite")
_LONG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def _of_run() -> sa.Column:
    return sa.Column("run_id", sa.Integer, nullable=False, autoincrement=False)


def _run_key(table: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(
        ["run_id"], ["live_runs.id"], name=f"fk_{table}_run_id_live_runs", ondelete="CASCADE"
    )


def _refers(name: str, to: str, ondelete: str | None = None) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([name], [f"{to}.id"], name=f"fk_live_runs_{name}_{to}", ondelete=ondelete)


def upgrade() -> None:
    op.create_table(
        "live_runs",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("source", sa.Text, nullable=False),
        sa.Column("room_id", sa.Integer, nullable=False),
        sa.Column("unit_under_test_id", sa.Integer),
        sa.Column("setting_id", sa.Integer),
        sa.Column("smoke_source_id", sa.Integer),
        sa.Column("logger_id", sa.Integer),
        sa.Column("profile_id", sa.Integer),
        sa.Column("tested_by", sa.Text, nullable=False),
        sa.Column("filter_state", sa.Text, nullable=False),
        sa.Column("notes", sa.Text, nullable=False),
        sa.Column("start_key", sa.Text),
        sa.Column("started_at", sa.Text, nullable=False),
        sa.Column("last_heard_at", sa.Text, nullable=False),
        sa.Column("changes", sa.Integer, nullable=False),
        sa.Column("logger_ahead_s", _REAL),
        sa.Column("conflicts", sa.Integer, nullable=False),
        sa.Column("replays_trial_id", sa.Integer),
        sa.Column("file_requested_at", sa.Text),
        sa.Column("finished_at", sa.Text),
        sa.Column("trial_id", sa.Integer),
        sa.PrimaryKeyConstraint("id", name="pk_live_runs"),
        sa.UniqueConstraint("start_key", name="uq_live_runs_start_key"),
        _refers("room_id", "rooms"),
        _refers("unit_under_test_id", "units_under_test"),
        _refers("setting_id", "speed_settings"),
        _refers("smoke_source_id", "smoke_sources"),
        _refers("logger_id", "loggers"),
        _refers("profile_id", "logger_profiles", "SET NULL"),
        _refers("replays_trial_id", "trials"),
        _refers("trial_id", "trials"),
        sa.CheckConstraint("kind IN ('unit running', 'empty room')", name=op.f("ck_live_runs_kind")),
        sa.CheckConstraint("source IN ('posted', 'file', 'demonstration')", name=op.f("ck_live_runs_source")),
        sa.CheckConstraint("(finished_at IS NULL) = (trial_id IS NULL)", name=op.f("ck_live_runs_finished_with_trial")),
        sa.CheckConstraint(
            "(source = 'demonstration') = (replays_trial_id IS NOT NULL)",
            name=op.f("ck_live_runs_demonstration_replays"),
        ),
        sqlite_strict=True,
    )
    op.create_index("ix_live_runs_room", "live_runs", ["room_id", "finished_at"])
    op.create_table(
        "live_channels",
        _of_run(),
        sa.Column("position", sa.Integer, nullable=False, autoincrement=False),
        sa.Column("channel", sa.Text, nullable=False),
        sa.Column("unit", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("run_id", "position", name="pk_live_channels"),
        sa.UniqueConstraint("run_id", "channel", name="uq_live_channels_run_id_channel"),
        _run_key("live_channels"),
        sqlite_strict=True,
    )
    op.create_table(
        "live_readings",
        _of_run(),
        sa.Column("at_us", _LONG, nullable=False, autoincrement=False),
        sa.Column("change", sa.Integer, nullable=False),
        *(sa.Column(f"value_{number:02d}", _REAL) for number in range(1, 17)),
        sa.PrimaryKeyConstraint("run_id", "at_us", name="pk_live_readings"),
        _run_key("live_readings"),
        sqlite_strict=True,
    )
    op.create_index("ix_live_readings_change", "live_readings", ["run_id", "change"])
    op.create_table(
        "live_lots",
        _of_run(),
        sa.Column("idempotency_key", sa.Text, nullable=False),
        sa.Column("sha256", sa.Text, nullable=False),
        sa.Column("received_at", sa.Text, nullable=False),
        sa.Column("added", sa.Integer, nullable=False),
        sa.Column("repeated", sa.Integer, nullable=False),
        sa.Column("conflicts", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("run_id", "idempotency_key", name="pk_live_lots"),
        _run_key("live_lots"),
        sqlite_strict=True,
    )
    op.create_table(
        "live_events",
        sa.Column("id", sa.Integer, nullable=False),
        _of_run(),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
        sa.Column("received_at", sa.Text, nullable=False),
        sa.Column("sender_ahead_s", _REAL),
        sa.Column("idempotency_key", sa.Text),
        sa.Column("undone_at", sa.Text),
        sa.PrimaryKeyConstraint("id", name="pk_live_events"),
        sa.UniqueConstraint("run_id", "idempotency_key", name="uq_live_events_run_id_idempotency_key"),
        _run_key("live_events"),
        sa.CheckConstraint(
            "kind IN ('smoke lit', 'mixing fan off', 'unit on', 'unit off')", name=op.f("ck_live_events_kind")
        ),
        sqlite_strict=True,
    )
    op.create_index("ix_live_events_run", "live_events", ["run_id"])


def downgrade() -> None:
    for table in ("live_events", "live_lots", "live_readings", "live_channels", "live_runs"):
        op.drop_table(table)
