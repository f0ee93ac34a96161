"""The store counts the changes of trials, ratings, claims and ozone tests too, so that lists, dates and further columns
are out of date by the same rule as the ranking.

A migration that makes one of these tables anew (batch mode) drops its triggers and has to make them again.
"""

from alembic import op

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None

_COUNT = "ON CONFLICT (unit_under_test_id) DO UPDATE SET changes = changes + 1"
_TABLES = ("trials", "ratings", "claims", "ozone_tests")
_ROWS = {"insert": ("NEW",), "update": ("OLD", "NEW"), "delete": ("OLD",)}


def upgrade() -> None:
    if op.get_bind().dialect.name != "sqlite":
        return
    for table in _TABLES:
        for event, rows in _ROWS.items():
            counts = [f"INSERT INTO unit_changes (unit_under_test_id, changes) VALUES (0, 1) {_COUNT};"]
            counts += [  # a run of the empty room belongs to no unit
                f"INSERT INTO unit_changes (unit_under_test_id, changes) SELECT {row}.unit_under_test_id, 1 "
                f"WHERE {row}.unit_under_test_id IS NOT NULL {_COUNT};"
                for row in rows
            ]
            op.execute(
                f"CREATE TRIGGER {table}_count_{event} AFTER {event.upper()} ON {table} BEGIN {' '.join(counts)} END"
            )


def downgrade() -> None:
    if op.get_bind().dialect.name == "sqlite":
        for table in _TABLES:
            for event in _ROWS:
                op.execute(f"DROP TRIGGER {table}_count_{event}")
