"""Recognises a folder on a network share, where SQLite cannot keep several programs apart.

SQLite's write-ahead log needs memory shared by all who use the file, so it "does not work over a network filesystem"
(sqlite.org/wal.html, "Overview").
"""

import os
import re
from pathlib import Path

from app.errors import StoreProblem

MOUNTS = Path("/proc/self/mounts")  # Linux; macOS has no such file, so that a share is not recognised there
_SHARED = {"nfs", "nfs4", "cifs", "smb3", "smbfs", "ncpfs", "afs", "9p", "fuse.sshfs", "fuse.glusterfs", "fuse.davfs"}
_REMOTE_DRIVE = 4  # DRIVE_REMOTE of GetDriveType in Windows


def refuse_share(folder: Path) -> None:
    """Raises StoreProblem for a folder on a network share."""
    kind = share_of(folder)
    if kind:
        raise StoreProblem(
            f"{folder} is on a network share ({kind}), where a store can be damaged unnoticed. Choose a folder on a "
            "disk of this computer with --data or HAZEFALL_DATA, and name the share in HAZEFALL_BACKUP_FOLDER for the "
            "backups. For several computers, use a database server."
        )


def share_of(folder: Path, system: str = os.name, mounts: Path = MOUNTS) -> str:
    """The kind of network share that a folder is on; "" for a local disk, or where it cannot be determined."""
    if system == "nt":
        if str(folder).startswith("\\\\"):
            return "Windows share"
        return "network drive" if _drive_type(str(folder)[:3]) == _REMOTE_DRIVE else ""
    try:
        lines = mounts.read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        return ""
    place, found = folder.resolve(), (0, "")
    for line in lines:
        _, mounted, kind, *_ = line.split(" ")
        at = Path(re.sub(r"\\([0-7]{3})", lambda code: chr(int(code[1], 8)), mounted))  # a blank is \040
        if place.is_relative_to(at):
            found = max(found, (len(at.parts), kind), key=lambda each: each[0])
    return found[1] if found[1] in _SHARED else ""


def _drive_type(root: str) -> int:
    import ctypes  # loaded when used: only Windows has drives

    windows = getattr(ctypes, "windll", None)
    return 0 if windows is None else int(windows.kernel32.GetDriveTypeW(root))
