"""PostgreSQL counts the changes of each unit too, so that a change renews one unit and not the whole bench.

A trigger runs once for each statement. It writes a count only once in each transaction, because PostgreSQL keeps every
version of a row until the transaction ends. The number is that of the transaction, so that it grows; where another
transaction with a later number was first, the next one after that. A migration that makes one of these tables anew has
to make its triggers again.
"""

from collections.abc import Iterable

import sqlalchemy as sa
from alembic import op

revision = "0025"
down_revision = "0024"
branch_labels = None
depends_on = None

_OWN = "SELECT unit_under_test_id FROM {rows}"
# The unit that a row of each table belongs to; None: what all units share.
_UNIT_OF_ROW = {
    "units_under_test": "SELECT id FROM {rows}",
    "speed_settings": _OWN,
    "prices": _OWN,
    "consumables": _OWN,
    "consumable_prices": "SELECT c.unit_under_test_id FROM consumables c JOIN {rows} r ON r.consumable_id = c.id",
    "sound_measurements": _OWN,
    "power_measurements": _OWN,
    "setting_summaries": _OWN,
    "trials": _OWN,
    "ratings": _OWN,
    "claims": _OWN,
    "ozone_tests": _OWN,
    "bench": None,
    "tariffs": None,
    "rooms": None,
    "natural_decay_pools": None,
    "natural_decay_pool_runs": None,
}
_ROWS = {
    "insert": {"NEW": "new_rows"},
    "update": {"OLD": "old_rows", "NEW": "new_rows"},
    "delete": {"OLD": "old_rows"},
}
_NUMBERS_A_TRANSACTION = 1 << 20


def upgrade() -> None:
    if op.get_bind().dialect.name != "postgresql":
        return
    op.alter_column("unit_changes", "changes", type_=sa.BigInteger())
    for statement in _counting():
        op.execute(statement)


def _counting() -> Iterable[str]:
    for table, unit in _UNIT_OF_ROW.items():
        for event, rows in _ROWS.items():
            units = " UNION ".join(
                ["SELECT 0", *(unit.format(rows=name) for name in rows.values())] if unit else ["SELECT 0"]
            )
            name = f"{table}_count_{event}"
            yield f"""CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$
                DECLARE number bigint := CAST(CAST(pg_current_xact_id() AS text) AS bigint) * {_NUMBERS_A_TRANSACTION};
                BEGIN
                    INSERT INTO unit_changes (unit_under_test_id, changes)
                        SELECT unit, number FROM ({units}) AS changed (unit) WHERE unit IS NOT NULL ORDER BY unit
                        ON CONFLICT (unit_under_test_id) DO UPDATE
                            SET changes = GREATEST(unit_changes.changes + 1, EXCLUDED.changes)
                            WHERE unit_changes.changes <> EXCLUDED.changes;
                    RETURN NULL;
                END $$"""
            referencing = " ".join(f"{which} TABLE AS {alias}" for which, alias in rows.items())
            yield (
                f"CREATE TRIGGER {name} AFTER {event.upper()} ON {table} REFERENCING {referencing} "
                f"FOR EACH STATEMENT EXECUTE FUNCTION {name}()"
            )


def downgrade() -> None:
    if op.get_bind().dialect.name != "postgresql":
        return
    for table in _UNIT_OF_ROW:
        for event in _ROWS:
            op.execute(f"DROP TRIGGER {table}_count_{event} ON {table}")
            op.execute(f"DROP FUNCTION {table}_count_{event}()")
    op.execute("DELETE FROM unit_changes")
    op.alter_column("unit_changes", "changes", type_=sa.Integer())
