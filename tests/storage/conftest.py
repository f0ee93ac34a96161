"""Migrations of which the last one fails, for both kinds of store."""

import shutil
from pathlib import Path

import pytest

from app.bundled_files import bundled_folder
from app.services.store import open as opening
from app.services.store.revisions import read_store_revisions


@pytest.fixture
def failing_migrations(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """The migrations with one more that makes a table and then fails."""
    folder, newest = tmp_path / "migrations", read_store_revisions(bundled_folder("migrations")).newest
    shutil.copytree(bundled_folder("migrations"), folder)
    (folder / "versions" / "9999_fails.py").write_text(
        "from alembic import op\nimport sqlalchemy as sa\n"
        f'revision = "9999"\ndown_revision = "{newest}"\n'
        'def upgrade():\n    op.create_table("half_done", sa.Column("id", sa.Integer()))\n'
        '    op.execute("INSERT INTO no_such_table VALUES (1)")\n'
    )
    monkeypatch.setattr(opening, "bundled_folder", lambda _name: folder)
    return "9999"
