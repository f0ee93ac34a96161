"""How a browser or a script gets into a served bench: the lines that are printed, and opening the browser."""

import os
import shlex
import subprocess
import sys
import threading
import webbrowser
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from app.services.access.local_secret import ensure_secret, new_link_token, secret_file
from app.settings import DEFAULT_PORT


@dataclass(frozen=True, slots=True)
class Entry:
    """The way into one served bench.

    folder : folder of a bench without accounts, which needs its secret; None where everybody signs in
    opens_browser : open the page in a browser once it is served
    bench : options by which a command names this bench; none for the user's own
    """

    folder: Path | None
    opens_browser: bool = False
    bench: tuple[str, ...] = ()

    def lines(self, base: str) -> list[str]:
        """What is printed for the server at this address; the address comes second in its line, for scripts."""
        if self.folder is None:
            return [f"Open {base}   (Ctrl+C stops it)"]
        return [
            f"Open {self.link(base)}   (works once; another: {self._for_another(base)}; Ctrl+C stops the server)",
            f'Scripts send "Authorization: Bearer SECRET"; the secret is in {secret_file(self.folder)}',
        ]

    def link(self, base: str) -> str:
        """An address that lets one browser in; each call makes another."""
        if self.folder is None:
            return base
        ensure_secret(self.folder)
        return f"{base}enter/{new_link_token(self.folder)}"

    def _for_another(self, base: str) -> str:
        """The command that prints another link for the server at this address."""
        served = urlsplit(base)
        host = [] if served.hostname == "127.0.0.1" else ["--host", str(served.hostname)]
        port = [] if served.port == DEFAULT_PORT else ["--port", str(served.port)]
        words = ["hazefall", "link", *self.bench, *host, *port]
        return subprocess.list2cmdline(words) if sys.platform == "win32" else shlex.join(words)

    def announce(self, base: str) -> None:
        """Prints the lines, and opens the browser where that was asked for."""
        for line in self.lines(base):
            print(line, flush=True)
        if self.opens_browser:
            threading.Thread(target=webbrowser.open, args=(self.link(base),), daemon=True).start()


def has_screen() -> bool:
    """Whether a browser can be opened: somebody reads the output, on a machine with a screen of its own."""
    if not sys.stdout.isatty() or "SSH_CONNECTION" in os.environ:
        return False
    return sys.platform in ("win32", "darwin") or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
