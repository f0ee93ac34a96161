"""Location of templates, static files and migrations: beside `app/` in a checkout, inside it when installed."""

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def bundled_folder(name: str) -> Path:
    """Folder `templates`, `static` or `migrations`, in a checkout or an installation."""
    installed = _PACKAGE / "bundled" / name
    return installed if installed.is_dir() else _PACKAGE.parent / name
