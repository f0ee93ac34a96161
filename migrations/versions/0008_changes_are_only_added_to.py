"""The record of changes can only be added to: the store itself refuses to alter, remove or replace a row of it.

On SQLite a statement that replaces a row removes the old one without asking the trigger on DELETE, so a row whose
number is there already is refused as well. On PostgreSQL emptying the table is a statement of its own.
"""

from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

REFUSAL = "the record of changes can only be added to"

SQLITE = (
    f"""CREATE TRIGGER changes_refuse_update BEFORE UPDATE ON changes
        BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END""",
    f"""CREATE TRIGGER changes_refuse_delete BEFORE DELETE ON changes
        BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END""",
    f"""CREATE TRIGGER changes_refuse_replace BEFORE INSERT ON changes
        WHEN EXISTS (SELECT 1 FROM changes WHERE id = NEW.id)
        BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END""",
)
POSTGRESQL = (
    f"""CREATE FUNCTION changes_refuse() RETURNS trigger LANGUAGE plpgsql AS
        $$ BEGIN RAISE EXCEPTION '{REFUSAL}'; END $$""",
    """CREATE TRIGGER changes_refuse_update BEFORE UPDATE OR DELETE ON changes
        FOR EACH ROW EXECUTE FUNCTION changes_refuse()""",
    """CREATE TRIGGER changes_refuse_truncate BEFORE TRUNCATE ON changes
        FOR EACH STATEMENT EXECUTE FUNCTION changes_refuse()""",
)


def upgrade() -> None:
    for statement in SQLITE if op.get_bind().dialect.name == "sqlite" else POSTGRESQL:
        op.execute(statement)


def downgrade() -> None:
    if op.get_bind().dialect.name == "sqlite":
        for name in ("update", "delete", "replace"):
            op.execute(f"DROP TRIGGER changes_refuse_{name}")
    else:
        op.execute("DROP TRIGGER changes_refuse_truncate ON changes")
        op.execute("DROP TRIGGER changes_refuse_update ON changes")
        op.execute("DROP FUNCTION changes_refuse()")
