"""Raw files are stored compressed where that pays, and read byte for byte."""

import hashlib
import os
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import create_engine, select, text

from app.services.store.check import check_store
from app.services.store.open import open_store
from app.settings import Settings
from app.storage.column_types import _PACKED, _PACKED_BEFORE, PackedBytes, packed
from app.storage.engine import session_scope
from app.storage.models.logs import RawFile
from tests.conftest import NOW, decay_log, sqlite_only
from tests.storage.migrated import migrate_to, migrate_url_to

LOG = decay_log(4.0)
FILES = {
    "a log": LOG,
    "a log with CRLF": LOG.replace(b"\n", b"\r\n"),
    "nothing": b"",
    "a line": b"1,2\n",
    "a photo": os.urandom(200_000),
    "text after what cannot be compressed": os.urandom(100_000) + LOG * 10,
    "a file that begins like a compressed one": _PACKED + b"but is none",
    "a file that begins like one of an older store": _PACKED_BEFORE + b"but is none",
    "a compressed one": packed(LOG),
}


@pytest.mark.parametrize("kind", FILES)
def test_every_file_comes_back_byte_for_byte(kind: str):
    content, column = FILES[kind], PackedBytes()
    stored = column.process_bind_param(content, None)
    assert column.process_result_value(memoryview(stored), None) == content
    assert len(stored) <= len(content) + 30


def test_a_log_takes_two_fifths_and_a_photo_no_work():
    assert len(packed(LOG)) < 0.4 * len(LOG)
    assert packed(FILES["a photo"]) is FILES["a photo"]


def _add(settings: Settings, files: dict[str, bytes]) -> None:
    engine = open_store(settings)
    with session_scope(engine) as session:
        for content in files.values():
            digest = hashlib.sha256(content).hexdigest()
            session.add(RawFile(sha256=digest, size_bytes=len(content), content=content, stored_at=NOW))
    engine.dispose()


def _contents(settings: Settings) -> dict[str, bytes]:
    engine = open_store(settings)
    with session_scope(engine, writes=False) as session:
        found = {row.sha256: row.content for row in session.execute(select(RawFile.sha256, RawFile.content))}
    engine.dispose()
    return found


def test_hash_and_size_in_the_store_are_those_of_the_file(settings: Settings):
    _add(settings, FILES)
    assert _contents(settings) == {hashlib.sha256(content).hexdigest(): content for content in FILES.values()}
    engine = open_store(settings)
    assert not [finding for finding in check_store(engine).findings if finding.subject == "raw file"]
    with session_scope(engine) as session:
        cut = "substr(content, 1, 200)" if not settings.database_url else "substring(content FROM 1 FOR 200)"
        session.execute(text(f"UPDATE raw_files SET content = {cut} WHERE size_bytes = {len(LOG)}"))
    assert [finding.wrong for finding in check_store(engine).findings if finding.subject == "raw file"] == [True]
    engine.dispose()


@sqlite_only
def test_files_of_an_older_store_are_compressed_when_it_is_opened(tmp_path: Path):
    path = tmp_path / "bench.sqlite"
    migrate_to(path, "0036")
    older = create_engine(f"sqlite:///{path}")
    row = {name: hashlib.sha256(content).hexdigest() for name, content in FILES.items()}
    with older.begin() as connection:
        for name, content in FILES.items():
            connection.execute(
                text("INSERT INTO raw_files VALUES (:sha256, :size, :content, '2026-01-01T00:00:00.000000Z')"),
                {"sha256": row[name], "size": len(content), "content": content},
            )
    assert _contents(Settings(tmp_path)) == {row[name]: content for name, content in FILES.items()}
    with older.connect() as connection:
        asked = text("SELECT length(content) FROM raw_files WHERE sha256 = :sha256")
        sizes = {name: connection.scalar(asked, {"sha256": row[name]}) for name in FILES}
    older.dispose()
    looks_packed = (_PACKED, _PACKED_BEFORE)
    kept = {name for name, content in FILES.items() if packed(content) is content}
    assert {name for name, content in FILES.items() if sizes[name] == len(content)} == kept
    compressed = [name for name in FILES.keys() - kept if not FILES[name].startswith(looks_packed)]
    assert {sizes[name] <= 0.8 * len(FILES[name]) for name in compressed} == {True}


@sqlite_only
def test_an_older_program_gets_back_what_it_can_read(tmp_path: Path):
    _add(Settings(tmp_path), FILES)
    path = tmp_path / "bench.sqlite"
    migrate_url_to(f"sqlite:///{path}", "0036", back=True)
    with closing(sqlite3.connect(path)) as older:
        found = dict(older.execute("SELECT sha256, content FROM raw_files").fetchall())
    assert found == {hashlib.sha256(content).hexdigest(): content for content in FILES.values()}
