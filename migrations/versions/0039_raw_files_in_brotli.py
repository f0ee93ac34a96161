"""From here on raw files are compressed by brotli; those compressed by zlib stay as they are.

The new revision keeps older programs, which cannot read brotli, from opening the store. A file that happens to begin
like one compressed by brotli is compressed, so that it is not mistaken.
"""

import zlib

import brotli
import sqlalchemy as sa
from alembic import op

revision = "0039"
down_revision = "0038"
branch_labels = None
depends_on = None

_ZLIB, _BROTLI = b"\x00hfzlib1", b"\x00hfbrot1"


def upgrade() -> None:
    for sha256, content in _beginning_like_brotli():
        _write(sha256, _ZLIB + zlib.compress(content, 1))


def downgrade() -> None:
    for sha256, content in _beginning_like_brotli():
        _write(sha256, _ZLIB + zlib.compress(brotli.decompress(content[len(_BROTLI) :]), 1))


def _beginning_like_brotli():
    """One at a time, because all of them may not fit into memory."""
    connection = op.get_bind()
    begins = sa.text("SELECT sha256 FROM raw_files WHERE substr(content, 1, :length) = :mark ORDER BY sha256")
    for sha256 in connection.execute(begins, {"length": len(_BROTLI), "mark": _BROTLI}).scalars().all():
        content = sa.text("SELECT content FROM raw_files WHERE sha256 = :sha256")
        yield sha256, bytes(connection.execute(content, {"sha256": sha256}).scalar_one())


def _write(sha256: str, content: bytes) -> None:
    update = sa.text("UPDATE raw_files SET content = :content WHERE sha256 = :sha256")
    op.get_bind().execute(update, {"content": content, "sha256": sha256})
