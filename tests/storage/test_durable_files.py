"""Files are synced before they get their name, and the name after that."""

import os
from pathlib import Path

import pytest

from app.storage import durable_files
from app.storage.durable_files import put_in_place, sync_folder


def test_content_comes_before_the_name_and_the_name_before_the_answer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    done = []
    unfinished, path = tmp_path / "unfinished", tmp_path / "finished"
    unfinished.write_bytes(b"new")
    path.write_bytes(b"old")
    monkeypatch.setattr(durable_files, "sync_file", lambda file: done.append((file, path.read_bytes())))
    monkeypatch.setattr(durable_files, "sync_folder", lambda folder: done.append((folder, path.read_bytes())))
    put_in_place(unfinished, path)
    assert done == [(unfinished, b"old"), (tmp_path, b"new")]


def test_a_folder_whose_system_cannot_sync_it_is_no_error(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    def refused(_handle: int) -> None:
        raise OSError(22, "Invalid argument")

    monkeypatch.setattr(os, "fsync", refused)
    sync_folder(tmp_path)
