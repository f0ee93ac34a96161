"""What search engines, previews and citations read of the site, by well-kept parsers.

Vocabularies from memory: schema.org Dataset and Product, Open Graph, sitemaps.org 0.9, Citation File Format 1.2.0.
"""

import json
import shutil
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pytest
import yaml
from PIL import Image
from sqlalchemy import Engine, update

from app.services.store.open import open_store
from app.settings import Settings
from app.storage.engine import session_scope
from app.storage.models.bench import Bench
from app.web.published.publish import publish

URL = "https://bench.example/air"
UNIT = "units/maker-a-model-1/"


class Head(HTMLParser):
    """Metadata of a page: by name or property, the canonical link, and its facts."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.meta: dict[str, str] = {}
        self.canonical = self.facts = ""
        self._in_facts = False
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = {name: value or "" for name, value in attrs}
        if tag == "meta" and (name := found.get("name") or found.get("property")):
            assert name not in self.meta, f"{name} twice"
            self.meta[name] = found["content"]
        if tag == "link" and found.get("rel") == "canonical":
            self.canonical = found["href"]
        self._in_facts = tag == "script" and found.get("type") == "application/ld+json"

    def handle_data(self, data: str) -> None:
        if self._in_facts:
            self.facts += data

    def handle_endtag(self, tag: str) -> None:
        self._in_facts = False


@pytest.fixture(scope="module")
def site(tried_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A bench of real measurements, with a licence and a URL."""
    folder = tmp_path_factory.mktemp("found")
    shutil.copyfile(tried_template, folder / "bench.sqlite")
    engine: Engine = open_store(Settings(folder))
    with session_scope(engine) as session:
        session.execute(update(Bench).values(licence="CC-BY-4.0", publication="Example & </script> Weekly"))
    publish(engine, folder / "site", workers=1, base_url=URL)
    engine.dispose()
    return folder / "site"


def _head(site: Path, path: str) -> Head:
    return Head((site / path).read_text())


def test_every_page_of_its_own_has_a_description_a_canonical_link_and_a_card(site: Path):
    tree = ElementTree.parse(site / "sitemap.xml").getroot()
    addresses = [loc.text or "" for loc in tree.iter("{http://www.sitemaps.org/schemas/sitemap/0.9}loc")]
    assert len(addresses) == len(set(addresses)) > 10
    for address in addresses:
        path = address.removeprefix(f"{URL}/")
        file = path if path.endswith(".html") else f"{path}index.html"
        head = _head(site, file)
        assert head.canonical == head.meta["og:url"] == address
        assert head.meta["description"] == head.meta["og:description"]
        assert len(head.meta["description"]) > 10
        picture = Image.open(site / head.meta["og:image"].removeprefix(f"{URL}/"))
        assert (picture.format, picture.size) == ("PNG", (1200, 630))
        assert len(picture.getcolors() or []) > 2  # something is drawn
    assert f"{URL}/{UNIT}" in addresses


def test_the_bench_is_a_data_set_with_its_licence_and_edition(site: Path):
    facts = json.loads(_head(site, "index.html").facts)
    assert (facts["@type"], facts["version"], facts["url"]) == ("Dataset", "edition 1", f"{URL}/")
    assert facts["license"] == "https://spdx.org/licenses/CC-BY-4.0.html"
    assert facts["creator"]["name"] == "Example & </script> Weekly"  # as data, not as markup
    for file in facts["distribution"]:
        assert (site / file["contentUrl"].removeprefix(f"{URL}/")).is_file()
    assert 'rel="license">CC-BY-4.0</a>' in (site / "index.html").read_text()


def test_a_unit_is_a_product_with_measured_properties_and_no_rating(site: Path):
    facts = json.loads(_head(site, f"{UNIT}index.html").facts)
    assert (facts["@type"], facts["brand"]["name"], facts["model"]) == ("Product", "Maker A", "Model 1")
    shown = json.loads((site / f"{UNIT}facts.json").read_text())["facts"]
    assert len(facts["additionalProperty"]) == len(shown)
    text = (site / f"{UNIT}index.html").read_text()
    assert "aggregateRating" not in text
    assert "review" not in facts


def test_an_invented_unit_is_no_product(demo_site: Path):
    pages = sorted(demo_site.glob("units/*/index.html"))
    assert not any(Head(page.read_text()).facts for page in pages if "has moved" not in page.read_text())
    assert "Demonstration with invented data" in json.loads(_head(demo_site, "index.html").facts)["description"]
    assert not (demo_site / "sitemap.xml").exists()  # a site map needs whole addresses
    assert _head(demo_site, "index.html").canonical == ""


def test_robots_and_citation(site: Path):
    assert (site / "robots.txt").read_text() == f"User-agent: *\nAllow: /\nSitemap: {URL}/sitemap.xml\n"
    cited = yaml.safe_load((site / "CITATION.cff").read_text())
    assert {"cff-version", "message", "title", "authors", "version", "date-released"} <= cited.keys()
    assert (cited["cff-version"], cited["license"], cited["url"]) == ("1.2.0", "CC-BY-4.0", f"{URL}/")
    assert cited["authors"] == [{"name": "Example & </script> Weekly"}]


def test_metadata_for_a_deposit_has_what_a_repository_asks_for(site: Path):
    """Mandatory properties of the DataCite Metadata Schema 4 but the DOI, from memory."""
    facts = json.loads((site / "datacite.json").read_text())
    assert {"creators", "titles", "publisher", "publicationYear", "types"} <= facts.keys()
    assert facts["types"]["resourceTypeGeneral"] == "Dataset"
    assert facts["creators"][0]["name"] == "Example & </script> Weekly"
    assert (facts["version"], facts["url"]) == ("edition 1", f"{URL}/")
    assert facts["rightsList"] == [{"rights": "CC-BY-4.0", "rightsUri": "https://spdx.org/licenses/CC-BY-4.0.html"}]
    edition = json.loads((site / "edition.json").read_text())
    assert facts["publicationYear"] == int(edition["published_at"][:4])
    assert facts["dates"] == [{"date": edition["published_at"][:10], "dateType": "Issued"}]
    numbers = json.loads((site / "data/numbers.json").read_text())["numbers"]
    assert facts["descriptions"][0]["description"].startswith(f"{len(numbers)} published numbers ")
