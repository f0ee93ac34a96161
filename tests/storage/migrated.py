"""A store at any revision, for the tests of migrations."""

from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import NullPool, create_engine, text

from app.bundled_files import bundled_folder
from app.services.store.revisions import read_store_revisions

_KNOWN = read_store_revisions(bundled_folder("migrations"))
REVISIONS = sorted(_KNOWN.known)
BEFORE_FIRST = "0013"  # its tables were those of the first revision
EARLIER = [BEFORE_FIRST, *REVISIONS[:-1]]  # every revision that is brought up to date


def migrate_to(path: Path, revision: str) -> None:
    """Brings the SQLite file to a revision by Alembic itself, foreign keys off, as the migrations expect."""
    migrate_url_to(f"sqlite:///{path}", revision)


def migrate_url_to(url: str, revision: str, *, back: bool = False) -> None:
    """The same for the store at an address. A revision below the first gives its tables under that number.

    back : from a later revision
    """
    config = Config()
    config.set_main_option("script_location", str(bundled_folder("migrations")))
    engine = create_engine(url, poolclass=NullPool)
    with engine.connect() as connection:
        if engine.dialect.name == "sqlite":
            connection.exec_driver_sql("PRAGMA foreign_keys = OFF")
        config.attributes["connection"] = connection
        (command.downgrade if back else command.upgrade)(config, max(revision, _KNOWN.first))
        if revision < _KNOWN.first:
            connection.execute(text("UPDATE alembic_version SET version_num = :revision"), {"revision": revision})
        connection.commit()
    engine.dispose()
