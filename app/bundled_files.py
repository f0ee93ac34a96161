"""Where templates, static files and migrations lie: beside `app/` in a checkout, inside it once installed."""

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def bundled_folder(name: str) -> Path:
    """Folder `templates`, `static` or `migrations`, wherever the program runs from."""
    installed = _PACKAGE / "bundled" / name
    return installed if installed.is_dir() else _PACKAGE.parent / name
