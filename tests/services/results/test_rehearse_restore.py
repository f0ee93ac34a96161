"""A rehearsed restore opens the copy, recomputes a sample of its results, and finds what was changed in it."""

import re
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from app.command_line.main import run
from app.errors import StoreProblem
from app.services.results.rehearse_restore import SAMPLE, rehearse_restore
from app.services.store.backup import backup_store
from app.settings import Settings
from tests.conftest import sqlite_only

pytestmark = sqlite_only


@pytest.fixture
def copy(demo_settings: Settings, tmp_path: Path) -> Path:
    return backup_store(demo_settings, tmp_path / "copy.sqlite").path


def test_a_good_copy_is_said_to_be_good_and_stays_as_it_is(copy: Path, capsys: pytest.CaptureFixture[str]):
    before = copy.read_bytes()
    assert run(["restore", str(copy), "--rehearse"]) == 0
    said = capsys.readouterr().out
    assert f"{copy}: opens as a bench; " in said
    assert f"{SAMPLE} of " in said
    assert "0 results differ" in said
    assert said.endswith("The copy can be restored.\n")
    assert copy.read_bytes() == before


def test_a_number_that_was_changed_in_the_copy_is_found(copy: Path, capsys: pytest.CaptureFixture[str]):
    with closing(sqlite3.connect(copy)) as connection:
        connection.execute("UPDATE channel_results SET total_decay_per_h = total_decay_per_h * 1.01")
        connection.commit()
    done = rehearse_restore(copy)
    assert done.trials == SAMPLE
    assert not done.sound
    assert "total_decay_per_h" in {one.field for one in done.differences}
    assert run(["restore", str(copy), "--rehearse"]) == 1
    said = capsys.readouterr().out
    assert re.search(r"WRONG: trial \d+, .+: the [^:]+: \S+ to \S+ \(\S+% of the previous value\)", said)
    assert said.endswith("The copy has problems; see above. Keep older copies.\n")


def test_another_processor_does_not_make_a_good_copy_wrong(copy: Path, capsys: pytest.CaptureFixture[str]):
    """Nor where it changes a clean air delivery rate close to zero by more than 0.01 % of it."""
    with closing(sqlite3.connect(copy)) as connection:
        connection.execute("UPDATE channel_results SET total_decay_per_h = total_decay_per_h * 1.00005")
        connection.commit()
    assert run(["restore", str(copy), "--rehearse"]) == 0
    said = capsys.readouterr().out
    assert re.search(r"0 results differ; \d+ more by 0.01% or less, which another processor alone may cause\n", said)


def test_a_raw_file_that_was_changed_is_found(copy: Path):
    with closing(sqlite3.connect(copy)) as connection:
        connection.execute(
            "UPDATE raw_files SET content = zeroblob(10) WHERE rowid = (SELECT min(rowid) FROM raw_files)"
        )
        connection.commit()
    assert any(finding.wrong and "raw file" in finding.message for finding in rehearse_restore(copy).findings)


def test_a_copy_that_cannot_be_opened_is_refused(tmp_path: Path):
    (tmp_path / "copy.sqlite").write_bytes(b"no store at all" * 500)
    with pytest.raises(StoreProblem, match="damaged or cut off"):
        rehearse_restore(tmp_path / "copy.sqlite")
