"""The store counts the changes of each unit, so that a change of one unit renews one line of what is kept in memory.

A migration that makes one of these tables anew (batch mode) drops its triggers and has to make them again.
"""

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None

_COUNT = "ON CONFLICT (unit_under_test_id) DO UPDATE SET changes = changes + 1"
_OWN = "SELECT {row}.unit_under_test_id, 1 WHERE true"
# The unit that a row of each table belongs to; None: what all units share.
_UNIT_OF_ROW = {
    "units_under_test": "SELECT {row}.id, 1 WHERE true",
    "speed_settings": _OWN,
    "prices": _OWN,
    "consumables": _OWN,
    "consumable_prices": "SELECT unit_under_test_id, 1 FROM consumables WHERE id = {row}.consumable_id",
    "sound_measurements": _OWN,
    "power_measurements": _OWN,
    "setting_summaries": _OWN,
    "bench": None,
    "tariffs": None,
    "rooms": None,
    "natural_decay_pools": None,
    "natural_decay_pool_runs": None,
}
_ROWS = {"insert": ("NEW",), "update": ("OLD", "NEW"), "delete": ("OLD",)}


def upgrade() -> None:
    op.create_table(
        "unit_changes",
        sa.Column("unit_under_test_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("changes", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("unit_under_test_id", name="pk_unit_changes"),
        sqlite_strict=True,
    )
    op.create_index("ix_setting_summaries_offered", "setting_summaries", ["channel", "aerosol", "room_id", "trials"])
    if op.get_bind().dialect.name != "sqlite":
        return
    for table, unit in _UNIT_OF_ROW.items():
        for event, rows in _ROWS.items():
            counts = [f"INSERT INTO unit_changes (unit_under_test_id, changes) VALUES (0, 1) {_COUNT};"]
            if unit is not None:
                counts += [
                    f"INSERT INTO unit_changes (unit_under_test_id, changes) {unit.format(row=row)} {_COUNT};"
                    for row in rows
                ]
            op.execute(
                f"CREATE TRIGGER {table}_count_{event} AFTER {event.upper()} ON {table} BEGIN {' '.join(counts)} END"
            )


def downgrade() -> None:
    if op.get_bind().dialect.name == "sqlite":
        for table in _UNIT_OF_ROW:
            for event in _ROWS:
                op.execute(f"DROP TRIGGER {table}_count_{event}")
    op.drop_index("ix_setting_summaries_offered", table_name="setting_summaries")
    op.drop_table("unit_changes")
