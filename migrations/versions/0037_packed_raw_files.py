"""Raw files are compressed where that saves a fifth or more; the program then gives them back byte for byte.

The file of a SQLite store does not shrink by this: it reuses the freed pages as it grows.
"""

import zlib

import sqlalchemy as sa
from alembic import op

revision = "0037"
down_revision = "0036"
branch_labels = None
depends_on = None

_PACKED = b"\x00hfzlib1"
_UPDATE = "UPDATE raw_files SET content = :content WHERE sha256 = :sha256"


def upgrade() -> None:
    connection = op.get_bind()
    for sha256, content in _each(connection):
        head = content[:65_536]
        if content.startswith(_PACKED) or len(zlib.compress(head, 1)) <= 0.8 * len(head) - len(_PACKED):
            new = _PACKED + zlib.compress(content, 1)
            connection.execute(sa.text(_UPDATE), {"content": new, "sha256": sha256})


def downgrade() -> None:
    connection = op.get_bind()
    for sha256, content in _each(connection):
        if content.startswith(_PACKED):
            new = zlib.decompress(content[len(_PACKED) :])
            connection.execute(sa.text(_UPDATE), {"content": new, "sha256": sha256})


def _each(connection):
    """One at a time, because all of them may not fit into memory."""
    for sha256 in connection.execute(sa.text("SELECT sha256 FROM raw_files ORDER BY sha256")).scalars().all():
        content = connection.execute(
            sa.text("SELECT content FROM raw_files WHERE sha256 = :sha256"), {"sha256": sha256}
        ).scalar_one()
        yield sha256, bytes(content)
