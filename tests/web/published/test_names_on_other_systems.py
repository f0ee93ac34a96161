"""Published files and packages can be unpacked on Windows and macOS, whose file names are less free."""

import re
import unicodedata
import zipfile
from pathlib import Path

import pytest
from sqlalchemy.orm import Session

from app.services.data_package.write import write_package_file
from app.services.store.open import open_store
from app.settings import Settings

# Microsoft, "Naming Files, Paths, and Namespaces" (from memory): forbidden characters, reserved names, last letters.
FORBIDDEN = re.compile(r'[<>:"|?*\\\x00-\x1f]')
RESERVED = {"con", "prn", "aux", "nul", *(f"{port}{number}" for port in ("com", "lpt") for number in range(1, 10))}


def unfit(names: list[str]) -> list[str]:
    """Names that another system refuses, or takes for that of another file."""
    seen: dict[str, str] = {}
    found = []
    for name in names:
        parts = name.split("/")
        if any(FORBIDDEN.search(part) or part.endswith((" ", ".")) for part in parts) or any(
            part.partition(".")[0].lower() in RESERVED for part in parts
        ):
            found.append(name)
        same = unicodedata.normalize("NFC", name).casefold()
        if same in seen:
            found.append(f"{name} and {seen[same]}")
        seen[same] = name
    return found


def test_the_measure_sees_each_kind():
    good = ["a/b.html", "console.txt"]
    bad = ["a:b", "a/nul.txt", "a /b", "b.", "A/B.html"]
    assert unfit([*good, *bad]) == [*bad[:4], "A/B.html and a/b.html"]


def test_a_published_site_has_names_for_every_system(demo_site: Path):
    names = [path.relative_to(demo_site).as_posix() for path in demo_site.rglob("*")]
    assert len(names) > 50
    assert unfit(names) == []


@pytest.mark.parametrize("title", ["Con", "a:b?", "Ünit"])
def test_a_package_has_names_for_every_system(demo_template: Path, tmp_path: Path, title: str):
    (tmp_path / "bench.sqlite").write_bytes(demo_template.read_bytes())
    engine = open_store(Settings(tmp_path))
    with Session(engine) as session:
        session.connection().exec_driver_sql("UPDATE logs SET file_name = ?", (title,))
        write_package_file(session, tmp_path / "out.zip")
    engine.dispose()
    with zipfile.ZipFile(tmp_path / "out.zip") as package:
        assert unfit(package.namelist()) == []
