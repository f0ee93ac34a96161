"""Every kind of published page and article by the Nu Html Checker, the validator of the HTML standard's conformance
rules; and the size of the pages.
"""

import json
import os
import shutil
import subprocess
from pathlib import Path

import pytest

from app.services.store.open import open_store
from app.settings import Settings
from app.storage.engine import session_scope
from app.web.application import make_app
from app.web.published.number_marks import NumberMarks
from app.web.published.site_frame import rendered, site_frame
from tests.sample_data.local_access import local_browser

LARGEST_PAGE = 100_000


def checker() -> list[str]:
    """The command, whose path the environment tells; without it the test is skipped, in CI it fails."""
    path, java = os.environ.get("HAZEFALL_VNU", ""), shutil.which("java")
    if java and path and Path(path).is_file():
        return [
            java,
            "-Xss4m",
            "-XX:TieredStopAtLevel=1",
            "-XX:+UseSerialGC",
            "-jar",
            path,
            "--format",
            "json",
            "--stdout",
        ]
    words = "The checker is not there; set HAZEFALL_VNU to the path of its vnu.jar (npm install vnu-jar)."
    if os.environ.get("CI"):
        pytest.fail(words)
    pytest.skip(words)


def test_every_kind_of_page_is_valid(demo_site: Path, demo_template: Path, tmp_path: Path):
    command = checker()
    for file in [
        *("index.html", "pictures.html", "costs.html", "changes.html", "method.html", "editions/1/index.html"),
        *(str(path.relative_to(demo_site)) for path in sorted(demo_site.glob("units/*/index.html"))[:3]),
        *("units/1.html", "trials/1.html", "trials/5.html"),
    ]:
        shutil.copyfile(demo_site / file, tmp_path / file.replace("/", "_"))
    (tmp_path / "bench").mkdir()
    shutil.copyfile(demo_template, tmp_path / "bench" / "bench.sqlite")
    settings = Settings(tmp_path / "bench")
    engine = open_store(settings)
    with session_scope(engine, writes=False) as session:
        site = site_frame(session, NumberMarks({}), "https://a.example/", "x")
    engine.dispose()
    gone = rendered(
        "taken_down.html", site, "units/a/index.html", "A was taken down", what="A", day="2026-05-03", why=""
    )
    failed = rendered("not_made.html", site, "units/b/index.html", "Not available", what="B")
    (tmp_path / "gone.html").write_bytes(gone.content or b"")
    (tmp_path / "not_made.html").write_bytes(failed.content or b"")
    with local_browser(make_app(settings), settings) as client:
        for kind in ("clean", "embed"):
            answer = client.get(f"/units/1/article-{kind}.html?table=fact-sheet&chart=decay-overlay&chart=ranking")
            (tmp_path / f"article_{kind}.html").write_bytes(answer.content)
    (tmp_path / "broken.html").write_text("<!doctype html><html lang=en><title>x</title><p><img src=a><div></p>")
    answer = subprocess.run([*command, *sorted(tmp_path.glob("*.html"))], capture_output=True, text=True, check=False)
    found: dict[str, list[str]] = {}
    for one in json.loads(answer.stdout)["messages"]:
        if one["type"] == "error":
            found.setdefault(Path(one["url"]).name, []).append(f"{one['message']}: {one.get('extract', '')}")
    assert len(found.pop("broken.html")) >= 2  # so that the checker cannot have looked at nothing
    assert found == {}


def test_pages_are_small(demo_site: Path):
    sizes = {str(path.relative_to(demo_site)): path.stat().st_size for path in demo_site.rglob("*.html")}
    assert len(sizes) > 20
    assert {path: size for path, size in sizes.items() if size > LARGEST_PAGE} == {}
