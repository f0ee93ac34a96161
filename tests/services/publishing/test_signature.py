"""Signature of an edition by an SSH key, with the program that OpenSSH has for it."""

import shutil
import subprocess
from pathlib import Path

import pytest

from app.errors import InvalidValue, StoreProblem
from app.services.publishing.signature import sign, signer_of

needs_ssh = pytest.mark.skipif(shutil.which("ssh-keygen") is None, reason="ssh-keygen is not installed")


@pytest.fixture
def key(tmp_path: Path) -> Path:
    path = tmp_path / "key"
    subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", path, "-C", "desk"], check=True)
    return path


@pytest.fixture
def signers(key: Path, tmp_path: Path) -> Path:
    path = tmp_path / "allowed_signers"
    path.write_text(f"desk@bench.example {key.with_suffix('.pub').read_text()}")
    return path


@needs_ssh
def test_a_signature_names_its_signer_until_a_byte_changes(key: Path, signers: Path, tmp_path: Path):
    signature = tmp_path / "edition.json.sig"
    signature.write_bytes(sign(b"manifest", key, tmp_path))
    assert signer_of(b"manifest", signature, signers) == "desk@bench.example"
    assert signer_of(b"manifesT", signature, signers) is None
    assert not list(tmp_path.glob("edition-to-sign*"))


@needs_ssh
def test_a_key_that_is_not_allowed_and_a_missing_signature_count_as_none(key: Path, signers: Path, tmp_path: Path):
    signature = tmp_path / "edition.json.sig"
    assert signer_of(b"manifest", signature, signers) is None
    signature.write_bytes(sign(b"manifest", key, tmp_path))
    signers.write_text(f"somebody@bench.example ssh-ed25519 {'A' * 68}\n")
    assert signer_of(b"manifest", signature, signers) is None


@needs_ssh
def test_a_file_that_is_no_key_is_told(tmp_path: Path):
    with pytest.raises(InvalidValue, match=r"There is no key .*none"):
        sign(b"manifest", tmp_path / "none", tmp_path)
    (tmp_path / "text").write_text("no key")
    with pytest.raises(InvalidValue, match=r"The edition cannot be signed with .*text: "):
        sign(b"manifest", tmp_path / "text", tmp_path)


def test_a_machine_without_the_program_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(shutil, "which", lambda name: None)
    (tmp_path / "key").write_text("x")
    with pytest.raises(StoreProblem, match="ssh-keygen is not installed; it comes with OpenSSH"):
        sign(b"manifest", tmp_path / "key", tmp_path)
