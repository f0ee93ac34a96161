"""The page about the bench: what it says of the store and its backups, and to whom."""

import errno
import sqlite3
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from fastapi.testclient import TestClient

from app.compute.method import METHOD_VERSION
from app.services.store.scheduled_backups import BackupState, backup_if_due
from app.settings import Settings
from app.web.pages.bench.about import _backup_problem
from app.web.templating.page_context import program_version
from tests.conftest import sqlite_only
from tests.web.page_checks import faults_of

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


@sqlite_only
def test_it_names_version_store_size_and_backups(client: TestClient, settings: Settings):
    page = client.get("/about").text
    assert faults_of(page) == []
    assert f"Hazefall: {program_version()}, decay analysis {METHOD_VERSION}" in page
    assert f"numpy {np.__version__}, " in page
    assert f", SQLite {sqlite3.sqlite_version}" in page
    assert f"Store: SQLite, {settings.data_folder}" in page
    assert "Contents: 0 units, 0 trials, 0 rows of readings" in page
    assert "No scheduled backup has been made yet." in page
    backup_if_due(settings)
    page = client.get("/about").text
    assert f"1 verified backup in {settings.data_folder}/backups/scheduled" in page
    assert "No scheduled backup" not in page


def test_an_old_or_failed_backup_is_a_warning():
    good, made = BackupState(NOW.isoformat(), "copy", 1), [NOW - timedelta(days=1), NOW]
    assert _backup_problem(good, made, NOW + timedelta(days=2)) == ""
    assert _backup_problem(good, made, NOW + timedelta(days=5)).startswith("The last backup is 5 days old.")
    assert _backup_problem(replace(good, problem="disk full"), made, NOW) == "The last attempt failed: disk full"
    assert _backup_problem(good, [], NOW).startswith("The last backup, copy, is no longer there. Connect its disk")
    assert _backup_problem(BackupState(), [], NOW).startswith("No scheduled backup has been made yet.")


def test_the_backups_that_are_there_count_and_not_what_was_noted():
    """A bench restored on another computer has no note; a wrong clock dates backups in the future."""
    assert _backup_problem(BackupState(), [NOW], NOW + timedelta(days=1)) == ""
    in_future = NOW + timedelta(days=365)
    assert _backup_problem(BackupState(), [NOW, in_future], NOW + timedelta(days=5)).startswith("The last backup is 5")


@sqlite_only
def test_a_folder_of_backups_that_cannot_be_read_is_said(
    client: TestClient, settings: Settings, monkeypatch: pytest.MonkeyPatch
):
    folder = settings.data_folder / "backups" / "scheduled"
    folder.mkdir(parents=True)
    monkeypatch.setattr(Path, "iterdir", _stale)
    page = client.get("/about")
    assert page.status_code == 200
    assert f"makes a verified backup a day in {folder}." in page.text
    assert "The folder cannot be read: Stale file handle. Connect its disk" in page.text


def _stale(folder: Path):
    raise OSError(errno.ESTALE, "Stale file handle", str(folder))
