"""Metadata of the site: JSON-LD by schema.org in pages, site map, robots.txt, citation, and deposit.

Only facts that the bench holds: a data set, and a product for each unit that exists. No ratings, no stars.
"""

from typing import Any
from xml.sax.saxutils import escape

import orjson
from markupsafe import Markup

from app.compute.method import METHOD_NAME
from app.figures.tables.table import ExportTable
from app.services.reviews.unit_overview import UnitOverview
from app.web.published.change_pages import EditionOfSite
from app.web.published.site_frame import SiteFile, SiteFrame

_MEASURED = ("Clean air delivery rate", "Time to 95 % reduction", "Sound", "Power", "Running cost")
_FILES = (
    ("data/ranking.csv", "text/csv"),
    ("data/ranking.json", "application/json"),
    ("data/numbers.json", "application/json"),
)
_INDEXED = ("index.html", "pictures.html", "costs.html", "changes.html", "method.html")


def dataset_facts(site: SiteFrame, edition: EditionOfSite, answer: str) -> str:
    """The bench as a data set, in its edition."""
    notice = "Demonstration with invented data. " if site.invented else ""
    facts: dict[str, Any] = {
        "@context": "https://schema.org",
        "@type": "Dataset",
        "name": f"{site.bench_name}: trials of room air cleaners",
        "description": f"{notice}{answer}",
        "version": f"edition {edition.number}",
        "datePublished": edition.day,
        "creator": {"@type": "Organization", "name": site.publication or site.bench_name},
        "isAccessibleForFree": True,
        "measurementTechnique": METHOD_NAME,
        "variableMeasured": list(_MEASURED),
        "distribution": [
            {"@type": "DataDownload", "contentUrl": _url(site, path), "encodingFormat": kind} for path, kind in _FILES
        ],
    }
    if site.base_url:
        facts["url"] = site.base_url
    if site.licence:
        facts["license"] = site.licence_url
    return _script(facts)


def product_facts(site: SiteFrame, known: UnitOverview, sheet: ExportTable, answer: str) -> str:
    """A unit as a product with its measurements; "" for an invented one, which is no product."""
    if site.invented:
        return ""
    unit = known.unit
    facts: dict[str, Any] = {
        "@context": "https://schema.org",
        "@type": "Product",
        "name": f"{unit.maker} {unit.model}",
        "model": unit.model,
        "brand": {"@type": "Brand", "name": unit.maker},
        "description": answer,
        "additionalProperty": [
            {
                "@type": "PropertyValue",
                "name": f"{quantity.value}{', ' if setting.value else ''}{setting.value}",
                "value": value.text,
                **({"unitText": symbol.value} if symbol.value else {}),
            }
            for quantity, setting, value, symbol, _ in sheet.rows
        ],
    }
    if site.base_url:
        facts["url"] = site.absolute(site.unit_path(unit.id))
    return _script(facts)


def _script(facts: dict[str, Any]) -> Markup:
    """JSON that cannot end its script element."""
    text = orjson.dumps(facts).decode()
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def _url(site: SiteFrame, path: str) -> str:
    return f"{site.base_url}{path}"


def metadata_files(site: SiteFrame, edition: EditionOfSite) -> list[SiteFile]:
    """robots.txt, citation and deposit; a site map only where the site has a URL, which it needs."""
    robots = "User-agent: *\nAllow: /\n"
    files = [
        SiteFile("CITATION.cff", _citation(site, edition).encode()),
        SiteFile("datacite.json", orjson.dumps(_deposit(site, edition), option=orjson.OPT_INDENT_2) + b"\n"),
    ]
    if site.base_url:
        robots += f"Sitemap: {site.base_url}sitemap.xml\n"
        files.append(SiteFile("sitemap.xml", _site_map(site, edition).encode()))
    return [*files, SiteFile("robots.txt", robots.encode())]


def _deposit(site: SiteFrame, edition: EditionOfSite) -> dict[str, Any]:
    """Metadata for a deposit, by the names of the DataCite Metadata Schema 4. The repository adds the DOI."""
    name = site.publication or site.bench_name
    notice = "Demonstration with invented data. " if site.invented else ""
    facts: dict[str, Any] = {
        "creators": [{"name": name, "nameType": "Organizational"}],
        "titles": [{"title": f"{site.bench_name}: trials of room air cleaners"}],
        "publisher": {"name": name},
        "publicationYear": edition.at.year,
        "types": {"resourceTypeGeneral": "Dataset", "resourceType": "Trials of room air cleaners"},
        "version": f"edition {edition.number}",
        "language": "en",
        "dates": [{"date": edition.day, "dateType": "Issued"}],
        "formats": ["text/csv", "application/json", "text/html"],
        "descriptions": [
            {
                "description": f"{notice}{edition.numbers} published numbers with the trials and method behind each.",
                "descriptionType": "Abstract",
            },
            {"description": METHOD_NAME, "descriptionType": "Methods"},
        ],
    }
    if site.licence:
        facts["rightsList"] = [{"rights": site.licence, "rightsUri": site.licence_url}]
    if site.base_url:
        facts["url"] = site.base_url
    return facts


def _site_map(site: SiteFrame, edition: EditionOfSite) -> str:
    """Site map (sitemaps.org, version 0.9) of the pages that show something of their own."""
    units = [site.unit_path(one) for one in site.things.units]
    trials = [f"trials/{one}.html" for one in site.things.trials]
    pages = [*_INDEXED, edition.page, *units, *trials]
    lines = "".join(f"<url><loc>{escape(site.absolute(path))}</loc></url>\n" for path in pages)
    head = '<?xml version="1.0" encoding="utf-8"?>\n<urlset xmlns="http://www.sitemaps.org/schemas/sitemap/0.9">\n'
    return f"{head}{lines}</urlset>\n"


def _citation(site: SiteFrame, edition: EditionOfSite) -> str:
    """How to cite the edition (Citation File Format 1.2.0). Strings are JSON strings, which are YAML too."""
    fields = {
        "cff-version": "1.2.0",
        "message": "Please cite this edition of the data set.",
        "type": "dataset",
        "title": f"{site.bench_name}: trials of room air cleaners",
        "version": f"edition {edition.number}",
        "date-released": edition.day,
        "url": site.base_url,
        "license" if "://" not in site.licence else "license-url": site.licence,
    }
    lines = [f"{name}: {orjson.dumps(value).decode()}" for name, value in fields.items() if value]
    notice = "# Demonstration with invented data.\n" if site.invented else ""
    author = orjson.dumps(site.publication or site.bench_name).decode()
    return f"{notice}{chr(10).join(lines)}\nauthors:\n  - name: {author}\n"
