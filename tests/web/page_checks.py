"""Rules for the HTML of every page: captions, labels, one heading, nothing inline, no dead internal link."""

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser

_FIELDS = {"input", "select", "textarea"}


@dataclass
class PageParts(HTMLParser):
    """Reads a page and notes what is missing in `faults`."""

    faults: list[str] = field(default_factory=list)
    labels: set[str] = field(default_factory=set)
    fields: list[tuple[str, dict[str, str | None]]] = field(default_factory=list)
    ids: list[str] = field(default_factory=list)
    links: list[str] = field(default_factory=list)
    headings: list[str] = field(default_factory=list)
    tables: int = 0
    captions: int = 0
    images_without_words: int = 0

    def __post_init__(self) -> None:
        super().__init__()
        self._in_script = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        for name in found:
            if name.startswith("on") or name == "style":
                self.faults.append(f"<{tag}> has the attribute {name}")
        if found.get("id"):
            self.ids.append(found["id"] or "")
        if tag == "style":
            self.faults.append("a <style> element")
        if tag == "script":
            self._in_script = True
        if tag == "label":
            self.labels.add(found.get("for") or "")
        if tag in _FIELDS and found.get("type") != "hidden":
            self.fields.append((tag, found))
        if tag == "a" and found.get("href"):
            self.links.append(found["href"] or "")
        if tag == "table":
            self.tables += 1
        if tag == "caption":
            self.captions += 1
        if tag == "th" and found.get("scope") is None:
            self.faults.append("a <th> without scope")
        if tag == "h1":
            self.headings.append(tag)
        if tag == "img" and not found.get("alt"):
            self.faults.append("an <img> without words")

    def handle_endtag(self, tag: str) -> None:
        if tag == "script":
            self._in_script = False

    def handle_data(self, data: str) -> None:
        if self._in_script and data.strip():
            self.faults.append("a <script> with content")


def faults_of(html: str) -> list[str]:
    """Everything that is wrong with a page."""
    page = PageParts()
    page.feed(html)
    faults = list(page.faults)
    if page.tables != page.captions:
        faults.append(f"{page.tables} tables and {page.captions} captions")
    for tag, attributes in page.fields:
        if not attributes.get("aria-label") and (attributes.get("id") or "") not in page.labels:
            faults.append(f"the field {attributes.get('name')} ({tag}) has no label")
    twice = sorted({one for one in page.ids if page.ids.count(one) > 1})
    if twice:
        faults.append(f"ids that stand twice: {', '.join(twice)}")
    if len(page.headings) != 1:
        faults.append(f"{len(page.headings)} main headings")
    return faults


PICTURE = re.compile(r"/charts/[a-z-]+\.(png|gif|mp4|webm)\b|/units/\d+/article-")


def links_of(html: str) -> list[str]:
    page = PageParts()
    page.feed(html)
    return page.links
