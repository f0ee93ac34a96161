"""Runs the migrations on the connection handed in, or on the address in the configuration."""

from alembic import context
from sqlalchemy import TypeDecorator, create_engine

config = context.config


def _metadata():
    # Only `alembic revision --autogenerate` and `alembic check` compare with the models.
    from app.storage.models.all_models import METADATA

    return METADATA


def _render_item(kind, item, autogen_context):
    if kind == "type" and isinstance(item, TypeDecorator):
        return f"sa.{item.impl.__class__.__name__}()"
    return False


def _migrate(connection):
    context.configure(
        connection=connection,
        target_metadata=_metadata(),
        render_as_batch=True,
        render_item=_render_item,
        compare_type=True,
        transaction_per_migration=True,
    )
    with context.begin_transaction():
        context.run_migrations()


connection = config.attributes.get("connection")
if connection is not None:
    _migrate(connection)
else:
    engine = create_engine(config.get_main_option("sqlalchemy.url") or "sqlite:///bench.sqlite")
    with engine.connect() as own_connection:
        if engine.dialect.name == "sqlite":
            own_connection.exec_driver_sql("PRAGMA foreign_keys=OFF")
        _migrate(own_connection)
        own_connection.commit()
