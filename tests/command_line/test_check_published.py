"""`hazefall check` on a published folder, and the signature of `hazefall publish`."""

import hashlib
import json
import shutil
import subprocess
from pathlib import Path

import pytest

from app.command_line.main import run


@pytest.fixture(scope="module")
def published(demo_site: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """`bench` and `site` of the small demonstration bench. For reading only."""
    folder = tmp_path_factory.mktemp("published")
    (folder / "bench").mkdir()
    shutil.copyfile(demo_site.parent / "bench.sqlite", folder / "bench" / "bench.sqlite")
    shutil.copytree(demo_site, folder / "site")
    return folder


@pytest.fixture(autouse=True)
def no_own_bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HAZEFALL_DATA", str(tmp_path / "nowhere"))


def test_a_folder_as_published_is_told_from_one_that_was_only_hashed(
    published: Path, capsys: pytest.CaptureFixture[str]
):
    assert run(["check", str(published / "site"), "--data", str(published / "bench")]) == 0
    told = capsys.readouterr().out
    assert "Every file is as published, compared with the edition in the store of " in told
    assert "no number was computed again" in told
    assert run(["check", str(published / "site")]) == 0
    assert (
        "Every file fits the folder's own manifest. That does not show that nobody altered" in capsys.readouterr().out
    )


def test_a_sound_level_lowered_by_10_db_and_hashed_again_is_caught(
    published: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    site = shutil.copytree(published / "site", tmp_path / "site")
    numbers = json.loads((site / "data/numbers.json").read_text())
    sound = next(one for one in numbers["numbers"] if one["quantity"].startswith("Sound at"))
    for name in ("value", "low_95", "high_95"):
        sound[name] -= 10
    (site / "data/numbers.json").write_text(json.dumps(numbers))
    manifest = json.loads((site / "edition.json").read_text())
    manifest["files"]["data/numbers.json"] = hashlib.sha256((site / "data/numbers.json").read_bytes()).hexdigest()
    (site / "edition.json").write_text(json.dumps(manifest))
    assert run(["check", str(site)]) == 0  # the folder alone cannot tell
    assert run(["check", str(site), "--data", str(published / "bench")]) == 1
    told = capsys.readouterr().out
    assert "WRONG: data/numbers.json was altered." in told
    assert f"WRONG: {sound['item']}, {sound['of']}: {sound['quantity']}: " in told
    assert "The folder is not the edition that was published; see above." in told


def test_a_bench_that_never_published_it_is_told(
    published: Path, store_template: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    shutil.copyfile(store_template, tmp_path / "bench.sqlite")
    assert run(["check", str(published / "site"), "--data", str(tmp_path)]) == 1
    assert "WRONG: The store has no edition 1, so the folder was not published from it." in capsys.readouterr().out


@pytest.mark.skipif(shutil.which("ssh-keygen") is None, reason="ssh-keygen is not installed")
def test_a_signed_edition_is_verified_by_its_signer(
    published: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    key, signers = tmp_path / "key", tmp_path / "signers"
    subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", key, "-C", "desk"], check=True)
    signers.write_text(f"desk@bench.example {key.with_suffix('.pub').read_text()}")
    bench = ["--data", str(published / "bench")]
    assert run(["publish", str(tmp_path / "out"), "--edition", "1", "--sign", str(key), "--precompress", *bench]) == 0
    assert "Edition 1 of " in capsys.readouterr().out
    packed = [path.suffix for path in (tmp_path / "out").rglob("*") if path.suffix in (".gz", ".br")]
    assert packed.count(".gz") > 50
    assert packed.count(".br") == packed.count(".gz")
    assert run(["check", str(tmp_path / "out"), "--signers", str(signers)]) == 0
    assert "compared with the signature of desk@bench.example." in capsys.readouterr().out
    manifest = tmp_path / "out" / "edition.json"
    manifest.write_bytes(manifest.read_bytes().replace(b'"invented": true', b'"invented": false'))
    assert run(["check", str(tmp_path / "out"), "--signers", str(signers)]) == 1
    assert "WRONG: edition.json has no valid signature of anyone in the file." in capsys.readouterr().out
