"""The article kit: what an address chooses is what the files hold, with public links and the numbers of the API."""

import re
import shutil
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from html import unescape
from io import BytesIO
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pytest
from fastapi.testclient import TestClient
from PIL import Image

from app.figures.articles import embedded_article
from app.services.publishing.public_links import PublicLinks
from app.services.publishing.unit_addresses import UnitAddresses
from app.services.reviews.verdicts import PUBLISHED, save_verdict
from app.services.store.open import open_store
from app.services.units.attachments.attach import Evidence, attach
from app.services.units.attachments.definitions import NewAttachment
from app.settings import Settings
from app.storage.engine import session_scope
from app.web.application import make_app
from app.web.pages.reviews import article_files
from app.web.published.publish import publish
from app.web.templating.environment import environment
from tests.sample_data.local_access import local_browser
from tests.sample_data.photos import photo

BASE = "https://desk.example/cleaners/"
VERDICT = "Strong, and cheap to run."


@pytest.fixture(scope="module")
def desk(tried_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[TestClient, Path]]:
    """A browser on a bench with one edition, and what was published. For reading only: the tests share it."""
    folder = tmp_path_factory.mktemp("desk")
    shutil.copyfile(tried_template, folder / "bench.sqlite")
    settings = Settings(folder)
    engine = open_store(settings)
    with session_scope(engine) as session:
        save_verdict(session, 1, VERDICT, PUBLISHED)
        save_verdict(session, 1, "Not for readers yet.")
        shown = NewAttachment(shows="unit", caption="The unit", for_readers=True)
        attach(session, Evidence(unit_id=1), photo(), "unit.jpg", shown)
    publish(engine, folder / "site", workers=1, base_url=BASE)
    engine.dispose()
    with local_browser(make_app(settings), settings) as client:
        yield client, folder / "site"


def members(content: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(BytesIO(content)) as folder:
        return {name: folder.read(name) for name in folder.namelist()}


def export(desk: tuple[TestClient, Path], kind: str, query: str = "") -> bytes:
    answer = desk[0].get(f"/units/1/article-{kind}?{query}")
    assert (answer.status_code, answer.text[:200] if answer.status_code != 200 else "") == (200, "")
    return answer.content


def test_the_folder_holds_what_was_chosen_and_nothing_else(desk):
    query = "table=fact-sheet&size=phone&size=video-1080&look=dark&look=transparent&chart=decay-overlay&photo=1"
    files = members(export(desk, "folder.zip", query))
    drawn = {f"pictures/maker-a-model-1-decay-overlay-{end}" for end in (
        "phone-dark.png", "phone-transparent.png", "video-1080-dark.png", "video-1080-transparent.png",
        "dark.svg", "transparent.svg",
    )}  # fmt: skip
    texts = {"article.md", "article.html", "embed.html", "about.txt"}
    assert set(files) == texts | drawn | {"photos/1.jpg", "tables/fact-sheet.csv"}
    sizes = {name: Image.open(BytesIO(files[name])).size for name in drawn if name.endswith(".png")}
    assert {size for name, size in sizes.items() if "video-1080" in name} == {(1920, 1080)}
    assert {size[0] for name, size in sizes.items() if "phone" in name} == {3 * 390}
    words = files["article.md"].decode()
    assert f"## Verdict\n\n{VERDICT}" in words
    assert "![" in words
    assert "pictures/maker-a-model-1-decay-overlay-phone-dark.png)" in words
    for heading in ("How it was tested", "Disclosure", "Cautions", "Results", "Specifications"):
        assert f"## {heading}\n" in words
        assert f"<h2>{heading}</h2>" in files["article.html"].decode()
        assert f"<h2>{heading}</h2>" in files["embed.html"].decode()
    for path in re.findall(r'<img src="([^"]+)"', files["article.html"].decode()):
        assert path in files


def test_what_is_left_out_is_left_out_but_for_the_cautions(desk):
    page = export(desk, "clean.html", "part=&chart=&photo=&table=&verdict=none").decode()
    assert re.findall("<h2>(.*?)</h2>", page) == ["Cautions"]
    assert "<img" not in page
    assert "No air cleaner protects people with asthma" in page
    other = export(desk, "clean.html", "part=sound&part=method&chart=&photo=1&verdict=2").decode()
    headings = ["Verdict", "How loud is it?", "Cautions", "How it was tested", "Pictures"]
    assert sorted(re.findall("<h2>(.*?)</h2>", other)) == sorted(headings)
    assert "Not for readers yet." in other
    assert other.count('<img src="data:image/jpeg;base64,') == 1


def test_markdown_comes_with_its_pictures(desk):
    content = export(desk, "markdown.zip")
    assert export(desk, "markdown.zip") == content
    files = members(content)
    named = re.findall(r"!\[[^\]]*\]\(([^)]+)\)", files["article.md"].decode())
    assert set(named) | {"article.md"} == set(files)
    assert len(named) == 2  # the curves and the photo


def test_every_link_of_every_export_leads_to_a_published_page(desk):
    site = desk[1]
    texts = [export(desk, kind).decode() for kind in ("clean.html", "embed.html")]
    texts += [
        text.decode() for name, text in members(export(desk, "folder.zip")).items() if name.endswith(("md", "txt"))
    ]
    links = 0
    for text in texts:
        assert not re.search(r"127\.0\.0\.1|localhost|testserver|/attachments/|/figures/", text)
        found = re.findall(r'href="([^"]+)"', text) + re.findall(r"(?<!!)\[[^\]]*\]\(([^)]+)\)", text)
        for link in found:
            assert link.startswith(BASE)
            path = unquote(urlsplit(link).path.removeprefix("/cleaners/"))
            assert (site / (f"{path}index.html" if path.endswith("/") or not path else path)).is_file()
        links += len(found)
    assert links > 40


def test_the_numbers_are_those_of_the_api(desk):
    """The rate of the strong unit and its interval, as the API gives them and as each text shows them."""
    line = next(one for one in desk[0].get("/api/ranking").json()["ranking"] if one["unit_id"] == 1)
    rate = line["clean_air_delivery_rate_m3_per_h"]
    files = members(export(desk, "folder.zip"))
    for name in ("article.md", "article.html", "embed.html"):
        shown = re.findall(r"(\d+) m³/h \((\d+) to (\d+)\)", files[name].decode().replace("\u00a0", " "))
        assert shown, name
        for value, low, high in shown:
            assert abs(float(value) - rate["value"]) <= 0.5
            assert abs(float(low) - rate["low_95"]) <= 0.5
            assert abs(float(high) - rate["high_95"]) <= 0.5


def test_the_page_to_embed_is_small_and_needs_nothing_else(desk, monkeypatch: pytest.MonkeyPatch):
    content = export(desk, "embed.html", "chart=decay-overlay&chart=ranking&chart=clearing-times&table=fact-sheet")
    text = content.decode()
    assert len(content) <= embedded_article.MOST_BYTES == 150_000
    assert text.count('<div class="narrow"><svg') == text.count('<div class="wide"><svg') == 3
    assert "<script" not in text
    assert not re.search(r'(?:src|srcset)="(?!data:)', text)
    monkeypatch.setattr(article_files, "MOST_BYTES", len(content) - 1)
    answer = desk[0].get(
        "/units/1/article-embed.html?chart=decay-overlay&chart=ranking&chart=clearing-times&table=fact-sheet"
    )
    assert answer.status_code == 422
    assert "Leave out a chart, a photo or a table." in answer.text


def test_the_page_says_what_is_there_and_keeps_the_choices_in_its_links(desk):
    page = desk[0].get("/units/1/article?part=results&chart=&photo=&look=dark")
    words = re.sub(r"<[^>]+>", "", page.text)
    assert "1 section; " in words
    query = re.search(r'article-clean.html\?([^"]+)"', page.text)[1].replace("&amp;", "&")  # type: ignore[index]
    assert "part=results&chart=&table=&photo=&size=article&look=dark&verdict=1" in query
    headings = re.findall("<h2>(.*?)</h2>", export(desk, "clean.html", query).decode())
    assert headings == ["Verdict", "Results", "Cautions"]
    assert re.findall(r'<option value="(\w+)"( selected)?>', page.text)[:3] == [
        ("1", " selected"), ("2", ""), ("none", ""),
    ]  # fmt: skip
    framed = desk[0].get(f"/units/1/article-embed.html?{query}&preview=1").headers
    assert "sandbox" in framed["content-security-policy"]
    assert framed["x-frame-options"] == "SAMEORIGIN"
    assert page.headers["x-frame-options"] == "DENY"


@pytest.mark.parametrize(
    ("query", "message"),
    [
        ("site=desk.example", "The public address is 'desk.example'; enter the URL of the published site"),
        ("chart=beauty", "The chart is 'beauty'; choose of: decay-overlay, ranking"),
        ("part=beauty", "The part is 'beauty'; choose of: cleaning, results"),
        ("verdict=7", "The verdict is '7'; choose one of: 1, 2, none."),
    ],
)
def test_what_cannot_be_chosen_is_said(desk, query: str, message: str):
    page = desk[0].get(f"/units/1/article?{query}")
    assert page.status_code == 422
    assert message in unescape(page.text)
    answer = desk[0].get(f"/units/1/article-clean.html?{query}")
    assert (answer.status_code, message in unescape(answer.text)) == (422, True)


@pytest.mark.parametrize("made", [(), ("mp4", "webm")])
def test_films_are_offered_where_their_encoders_are(desk, made: tuple[str, ...], monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setitem(environment().globals, "film_formats", lambda: made)
    page = desk[0].get("/units/1/article?chart=decay-overlay").text
    assert set(re.findall(r"/charts/decay-overlay\.(\w+)", page)) == {"gif", *made}


def test_too_many_pictures_are_refused(desk):
    sizes = "&".join(f"size={one}" for one in ("article", "phone", "print", "video-1080", "video-2160"))
    query = f"{sizes}&look=light&look=dark&chart=decay-overlay&chart=ranking&chart=clearing-times"
    answer = desk[0].get(f"/units/1/article-folder.zip?{query}")
    assert answer.status_code == 422
    assert "3 charts in 5 sizes and 2 looks are 30 pictures; at most 24 are drawn at once." in answer.text


def test_what_keeps_links_from_readers_is_said():
    links = PublicLinks("", None, frozenset(), UnitAddresses({1: "a-b"}, {}), False)
    assert "Nothing is published yet" in links.notice
    links = replace(links, edition=(3, "2026-05-03"), files=frozenset({"units/a-b/index.html"}))
    assert "No public address is known" in links.notice
    assert links.of("/units/1") == ""
    links = replace(links, base_url=BASE, changed_since=True)
    assert "has changed since edition 3 of 2026-05-03" in links.notice
    assert replace(links, changed_since=False).notice == ""
    assert [links.of(one) for one in ("/units/1/sound", "/units/2", "/trials/1", "/method")] == [
        f"{BASE}units/a-b/", "", "", "",
    ]  # fmt: skip


def test_another_address_of_the_site_can_be_given(desk):
    text = export(desk, "clean.html", "site=http%3A%2F%2Fmirror.example").decode()
    assert 'href="http://mirror.example/trials/4.html"' in text
    assert "desk.example" not in text
