"""Changes of a room, its check unit with the spread that results include, and the first trial of each summary."""

import sqlalchemy as sa
from alembic import op

revision = "0026"
down_revision = "0025"
branch_labels = None
depends_on = None

_COUNT = "ON CONFLICT (unit_under_test_id) DO UPDATE SET changes = changes + 1"
_TABLES = ("room_changes", "check_units")


def _of_room(table: str) -> sa.Column[int]:
    key = sa.ForeignKey("rooms.id", name=f"fk_{table}_room_id_rooms", ondelete="CASCADE")
    return sa.Column("room_id", sa.Integer, key, nullable=False)


def upgrade() -> None:
    real = sa.Double().with_variant(sa.REAL(), "sqlite")
    op.add_column("channel_results", sa.Column("clean_air_delivery_rate_check_unit_share", real, nullable=True))
    op.add_column("setting_summaries", sa.Column("first_trial_on", sa.Text, nullable=True))
    op.create_table(
        "room_changes",
        sa.Column("id", sa.Integer, nullable=False),
        _of_room("room_changes"),
        sa.Column("changed_on", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("words", sa.Text, nullable=False),
        sa.Column("new_limits", sa.Integer, nullable=False),
        sa.Column("reference_until", sa.Text, nullable=True),
        sa.Column("noted_by", sa.Text, nullable=False),
        sa.Column("created_at", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_room_changes"),
        sa.CheckConstraint(
            "reference_until IS NULL OR new_limits = 1", name=op.f("ck_room_changes_reference_has_limits")
        ),
        sa.CheckConstraint(
            "reference_until IS NULL OR reference_until >= changed_on",
            name=op.f("ck_room_changes_reference_in_order"),
        ),
        sqlite_strict=True,
    )
    op.create_index("ix_room_changes_room", "room_changes", ["room_id", "changed_on"])
    setting = sa.ForeignKey("speed_settings.id", name="fk_check_units_setting_id_speed_settings", ondelete="CASCADE")
    op.create_table(
        "check_units",
        sa.Column("id", sa.Integer, nullable=False),
        _of_room("check_units"),
        sa.Column("setting_id", sa.Integer, setting, nullable=False),
        sa.Column("valid_from", sa.Text, nullable=False),
        sa.Column("notes", sa.Text, nullable=False),
        sa.Column("noted_by", sa.Text, nullable=False),
        sa.Column("created_at", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_check_units"),
        sa.UniqueConstraint("room_id", "valid_from", name="uq_check_units_room_id_valid_from"),
        sqlite_strict=True,
    )
    on_sqlite = op.get_bind().dialect.name == "sqlite"
    for table in _TABLES:  # a snapshot reads both
        for event in ("insert", "update", "delete"):
            for statement in _counting_on_sqlite(table, event) if on_sqlite else _counting_on_postgresql(table, event):
                op.execute(statement)


def _counting_on_sqlite(table: str, event: str) -> tuple[str, ...]:
    return (
        f"CREATE TRIGGER {table}_count_{event} AFTER {event.upper()} ON {table} BEGIN "
        f"INSERT INTO unit_changes (unit_under_test_id, changes) VALUES (0, 1) {_COUNT}; END",
    )


def _counting_on_postgresql(table: str, event: str) -> tuple[str, ...]:
    """As revision 0025 counts what all units share."""
    name = f"{table}_count_{event}"
    return (
        f"""CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$
            DECLARE number bigint := CAST(CAST(pg_current_xact_id() AS text) AS bigint) * {1 << 20};
            BEGIN
                INSERT INTO unit_changes (unit_under_test_id, changes) VALUES (0, number)
                    ON CONFLICT (unit_under_test_id) DO UPDATE
                        SET changes = GREATEST(unit_changes.changes + 1, EXCLUDED.changes)
                        WHERE unit_changes.changes <> EXCLUDED.changes;
                RETURN NULL;
            END $$""",
        f"CREATE TRIGGER {name} AFTER {event.upper()} ON {table} FOR EACH STATEMENT EXECUTE FUNCTION {name}()",
    )


def downgrade() -> None:
    for table in _TABLES:
        op.drop_table(table)
        if op.get_bind().dialect.name == "postgresql":
            for event in ("insert", "update", "delete"):
                op.execute(f"DROP FUNCTION {table}_count_{event}()")
    op.drop_column("setting_summaries", "first_trial_on")
    op.drop_column("channel_results", "clean_air_delivery_rate_check_unit_share")
