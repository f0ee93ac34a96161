"""The data package by page and by URL, search, history, and the way from a number to its trial."""

import hashlib
import io
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from httpx import Response
from starlette.testclient import TestClient

from app.command_line.main import run
from app.services.data_package import write
from app.settings import Settings
from app.web.application import make_app
from app.web.downloads import turn
from tests.conftest import told_to_command
from tests.sample_data.local_access import local_browser


@pytest.fixture(scope="module")
def bench(demo_settings: Settings) -> Settings:
    return demo_settings


@pytest.fixture(scope="module")
def client(bench: Settings) -> Iterator[TestClient]:
    with local_browser(make_app(bench), bench) as opened:
        yield opened


def test_the_page_offers_the_whole_bench_and_ticks_the_units_of_the_address(client: TestClient):
    text = client.get("/package?unit=2").text
    assert 'href="/package.zip"' in text
    assert re.search(r'id="unit-2"[^>]*checked', text)
    assert not re.search(r'id="unit-1"[^>]*checked', text)


def test_the_package_is_a_zip_with_its_descriptor(client: TestClient):
    answer = client.get("/package.zip?unit=1,2")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/zip"
    assert answer.headers["content-disposition"] == 'attachment; filename="units-1-2.zip"'
    with zipfile.ZipFile(io.BytesIO(answer.content)) as package:
        assert "datapackage.json" in package.namelist()
        assert package.read("data/units_under_test.csv").decode().count("\n") == 3


def test_wrong_units_are_refused(client: TestClient):
    assert "A unit: found &#39;x&#39;" in client.get("/package?unit=x").text
    assert client.get("/package.zip?unit=x").status_code == 422
    assert client.get("/package.zip?unit=999").status_code == 404


def test_one_package_is_prepared_at_a_time(client: TestClient, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(turn, "_TURN_WITHIN_S", 0.05)
    meanwhile: list[Response] = []

    def asked_meanwhile(*_given: object) -> None:
        if not meanwhile:
            meanwhile.append(client.get("/package.zip"))
            assert client.get("/charts/decay-overlay.gif").status_code == 503
            assert client.get("/charts/decay-overlay.svg").status_code == 200

    monkeypatch.setattr(write, "write_package", asked_meanwhile)
    assert client.get("/package.zip").status_code == 200
    (refused,) = meanwhile
    assert (refused.status_code, refused.headers["retry-after"]) == (503, "30")
    assert "Other packages or animations are being prepared. Download this one again in 30 s" in refused.text
    assert client.get("/package.zip").status_code == 200  # the turn was given back


def test_the_command_packs_and_the_check_recomputes(
    bench: Settings, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    out = tmp_path / "article.zip"
    assert run(["package", str(out), "--unit", "2", *told_to_command(bench)]) == 0
    told = capsys.readouterr().out
    assert re.search(r"article\.zip: [\d.]+ MB; 1 units, \d+ trials including empty-room runs", told)
    digest = told.rpartition(": ")[2].strip()
    with zipfile.ZipFile(out) as package:
        assert hashlib.sha256(package.read("datapackage.json")).hexdigest() == digest
    assert run(["check", str(out), "--workers", "1", "--digest", digest]) == 0
    said = capsys.readouterr().out
    assert (
        "Recomputed from the raw files, each number the same within 0.01%: decays, rates, times, summaries and costs."
        in said
    )
    assert re.search(r"As entered, which nothing in the package can recompute: \d+ sound levels, ", said)
    assert re.search(r"Only hashed: .*method\.md", said)
    assert "The digest is the given one" in said
    with zipfile.ZipFile(out, "a") as package, pytest.warns(UserWarning, match="Duplicate name"):
        package.writestr("method.md", "another")
    assert run(["check", str(out)]) == 1
    said = capsys.readouterr().out
    assert "WRONG: method.md holds 7 bytes" in said
    assert said.endswith("The package has problems; see above.\n")


def test_a_unit_is_packed_by_its_name_too(bench: Settings, tmp_path: Path, client: TestClient, capsys):
    name = re.search(r'id="unit-1".*?<label[^>]*>([^<]+)</label>', client.get("/package").text, re.DOTALL)[1]
    assert run(["package", str(tmp_path / "a.zip"), "--unit", name.upper(), *told_to_command(bench)]) == 0
    capsys.readouterr()
    assert run(["package", str(tmp_path / "b.zip"), "--unit", "nobody", *told_to_command(bench)]) == 2
    assert "There is no unit under test nobody in this bench" in capsys.readouterr().err
    assert not (tmp_path / "b.zip").exists()


def test_the_search_is_on_every_page_and_finds(client: TestClient):
    for path in ("/", "/units/1", "/trials/5", "/method"):
        assert '<form class="find" method="get" action="/search" role="search"' in client.get(path).text
    found = client.get("/search?q=trial 5").text
    assert re.search(r'<h2>Trials</h2>\s*<ul class="found"><li><a href="/trials/5">', found)
    assert "Nothing found with all of these words" in client.get("/search?q=zzzz").text
    assert "Recent changes" in client.get("/search").text
    too_long = client.get(f"/search?q={'a' * 300}")
    assert too_long.status_code == 422
    assert "at most 200 are allowed" in too_long.text
    assert "&lt;script&gt;" in client.get("/search?q=<script>").text


def test_changes_can_be_narrowed_to_a_unit_and_to_corrections(client: TestClient):
    of_unit = client.get("/changes?unit=1").text
    assert 'href="/units/1"' in of_unit
    assert 'href="/units/2"' not in of_unit
    corrections = client.get("/changes?corrections=1").text
    assert "was changed" in corrections
    assert "<td>was added</td>" not in corrections
    assert "No changes match" in client.get("/changes?unit=999999").text


@pytest.mark.parametrize("path", ["/", "/curves", "/costs", "/compare?unit_id=1,2", "/room", "/ranking/order"])
def test_two_clicks_lead_from_a_number_to_its_trial(client: TestClient, path: str):
    """First click: a unit or a trial beside the number; second: a trial, which shows file, hash, marks and method."""
    text = client.get(path).text
    main = text[text.index("<main") :]
    links = set(re.findall(r'href="(/(?:units|trials)/\d+)"', main))
    assert links, path
    unit = next((link for link in sorted(links) if link.startswith("/units/")), None)
    trial = next((link for link in sorted(links) if link.startswith("/trials/")), None)
    if trial is None:
        trial = re.search(r'href="(/trials/\d+)"', client.get(unit).text)[1]
    shown = client.get(trial).text
    assert re.search(r'<code class="hash">[0-9a-f]{64}</code>', shown)
    assert f'href="/api{trial}/log"' in shown
    assert 'href="/method"' in shown
    assert 'id="marks"' in shown
    assert "Empty-room runs" in shown
