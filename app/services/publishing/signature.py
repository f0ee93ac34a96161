"""Signs the manifest of an edition with an SSH key, and verifies it: `ssh-keygen -Y`, as installed with OpenSSH."""

import shutil
import subprocess
from pathlib import Path

from app.errors import InvalidValue, StoreProblem

NAMESPACE = "hazefall-edition"


def sign(manifest: bytes, key: Path, workplace: Path) -> bytes:
    """Signature of a manifest by a private key, which may ask for its passphrase or be in an agent.

    workplace : folder for a file that is removed again
    """
    if not key.is_file():
        raise InvalidValue(f"There is no key {key}. Give the file of an SSH key, private or public with an agent.")
    unsigned = workplace / "edition-to-sign"
    signed = unsigned.with_name(f"{unsigned.name}.sig")
    try:
        unsigned.write_bytes(manifest)
        done = _run(["-Y", "sign", "-f", str(key), "-n", NAMESPACE, str(unsigned)], b"")
        if done.returncode != 0:
            raise InvalidValue(f"The edition cannot be signed with {key}: {_last_words(done)}")
        return signed.read_bytes()
    finally:
        unsigned.unlink(missing_ok=True)
        signed.unlink(missing_ok=True)


def signer_of(manifest: bytes, signature: Path, allowed_signers: Path) -> str | None:
    """Who signed a manifest, by a file of allowed signers; None where nobody in it did, or the manifest was altered."""
    found = _run(["-Y", "find-principals", "-s", str(signature), "-f", str(allowed_signers)], b"")
    if found.returncode != 0:
        return None
    for name in found.stdout.decode(errors="replace").split():
        given = ["-f", str(allowed_signers), "-I", name, "-n", NAMESPACE, "-s", str(signature)]
        if _run(["-Y", "verify", *given], manifest).returncode == 0:
            return name
    return None


def _run(arguments: list[str], content: bytes) -> subprocess.CompletedProcess[bytes]:
    program = shutil.which("ssh-keygen")
    if program is None:
        raise StoreProblem("ssh-keygen is not installed; it comes with OpenSSH. Install it, or publish without a key.")
    return subprocess.run([program, *arguments], input=content, capture_output=True, check=False)


def _last_words(done: subprocess.CompletedProcess[bytes]) -> str:
    lines = done.stderr.decode(errors="replace").strip().splitlines()
    return lines[-1] if lines else f"ssh-keygen ended with status {done.returncode}"
