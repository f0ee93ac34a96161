"""A folder on a network share is recognised by what the system says of it, and refused."""

from pathlib import Path

import pytest

from app.errors import StoreProblem
from app.services.store.open import open_store
from app.settings import Settings
from app.storage import network_share
from app.storage.network_share import share_of

MOUNTS = r"""
/dev/sda1 / ext4 rw,relatime 0 0
proc /proc proc rw 0 0
desk:/export {at}/office nfs4 rw 0 0
//desk/share {at}/our\040share cifs rw 0 0
/dev/sdb1 {at}/office/disk ext4 rw 0 0
""".lstrip()


@pytest.fixture
def mounts(tmp_path: Path) -> Path:
    file = tmp_path / "mounts"
    file.write_text(MOUNTS.replace("{at}", str(tmp_path)))
    return file


@pytest.mark.parametrize(
    ("folder", "kind"),
    [("here", ""), ("office/bench", "nfs4"), ("our share", "cifs"), ("office/disk/bench", ""), ("office2", "")],
)
def test_the_innermost_mount_decides(tmp_path: Path, mounts: Path, folder: str, kind: str):
    assert share_of(tmp_path / folder, "posix", mounts) == kind


def test_nothing_is_said_where_the_system_lists_no_mounts(tmp_path: Path):
    assert share_of(tmp_path, "posix", tmp_path / "none") == ""


def test_windows_shares_have_a_name_or_a_drive(monkeypatch: pytest.MonkeyPatch):
    """GetDriveType: 3 is a fixed drive, 4 a remote one (Windows API reference)."""
    monkeypatch.setattr(network_share, "_drive_type", {"C:\\": 3, "Z:\\": 4}.__getitem__)
    for folder, kind in ((r"\\desk\share\bench", "Windows share"), ("Z:\\bench", "network drive"), ("C:\\bench", "")):
        assert share_of(folder, "nt") == kind  # type: ignore[arg-type]


def test_no_store_is_opened_there(tmp_path: Path, mounts: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(share_of, "__defaults__", ("posix", mounts))
    with pytest.raises(StoreProblem, match=r"is on a network share \(nfs4\).*on a\s+disk of this computer"):
        open_store(Settings(tmp_path / "office" / "bench"))
    assert not (tmp_path / "office" / "bench" / "bench.sqlite").exists()


@pytest.mark.parametrize("name", ["Prüfstand 1 – ß", "100%20 #1", "日本 'é'", pytest.param("what?x=1", id="question")])
def test_a_folder_may_have_any_name(tmp_path: Path, name: str):
    settings = Settings(tmp_path / name)
    open_store(settings).dispose()
    assert [path.name for path in tmp_path.iterdir()] == [name]
    assert (tmp_path / name / "bench.sqlite").stat().st_size > 0
    open_store(settings).dispose()  # and is found again
