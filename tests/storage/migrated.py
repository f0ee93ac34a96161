"""A store at any revision, for the tests of migrations."""

from collections.abc import Callable
from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import NullPool, create_engine

from app.bundled_files import bundled_folder


def migrate_to(path: Path, revision: str, migrations: Path | None = None) -> None:
    """Brings the SQLite file to a revision by Alembic itself, foreign keys off, as the migrations expect."""
    migrate_url_to(f"sqlite:///{path}", revision, migrations)


def migrate_url_to(
    url: str, revision: str, migrations: Path | None = None, *, to: Callable[[Config, str], None] = command.upgrade
) -> None:
    """The same for the store at an address."""
    config = Config()
    config.set_main_option("script_location", str(migrations or bundled_folder("migrations")))
    engine = create_engine(url, poolclass=NullPool)
    with engine.connect() as connection:
        if engine.dialect.name == "sqlite":
            connection.exec_driver_sql("PRAGMA foreign_keys = OFF")
        config.attributes["connection"] = connection
        to(config, revision)
        connection.commit()
    engine.dispose()
