"""The frame shared by all published pages, and helpers to build them."""

import hashlib
import re
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from app.compute.method import METHOD_VERSION
from app.services.bench.chart_facts import read_chart_facts
from app.services.bench.choices import bench_choices
from app.services.publishing.published_items import PublishedItems, published_items
from app.services.publishing.unit_addresses import UnitAddresses, unit_addresses
from app.services.reviews.wording import Span, Spans
from app.web.published.number_marks import NumberMarks
from app.web.templating.environment import environment
from app.web.templating.page_context import read_shell
from app.web.templating.static_files import static_folder

NAVIGATION = (
    ("Ranking", "index.html"),
    ("Pictures", "pictures.html"),
    ("Running cost", "costs.html"),
    ("Changes", "changes.html"),
    ("Method", "method.html"),
)


SITE_CARD = "cards/site.png"


@dataclass(frozen=True, slots=True)
class SiteFile:
    """One file of the site. `content` None: it is as in the edition before.

    made_from : digest of what it was made from, where making it takes long
    """

    path: str
    content: bytes | None
    made_from: str = ""


@dataclass(frozen=True, slots=True)
class SiteFrame:
    """The frame of all pages; styles, icon and scripts are file paths that contain the content hash.

    base_url : URL of the site with a slash at its end; "" where it has none, so that links stay relative
    identity : names the site whatever its URL
    licence : of the data, as the desk chose it; "" where it states none
    marks : what moved, for beside the numbers
    """

    bench_name: str
    publication: str
    invented: bool
    scenario: str
    method_version: str
    style: str
    icon: str
    script: str
    own_style: str
    values_script: str
    things: PublishedItems
    addresses: UnitAddresses
    marks: NumberMarks
    base_url: str = ""
    identity: str = ""
    licence: str = ""
    navigation: tuple[tuple[str, str], ...] = NAVIGATION

    def unit_folder(self, unit_id: int) -> str:
        return self.addresses.folder(unit_id)

    def unit_path(self, unit_id: int) -> str:
        return self.addresses.page(unit_id)

    @property
    def licence_url(self) -> str:
        """Address of the licence; identifiers are those of the SPDX list."""
        is_address = self.licence.startswith(("https://", "http://"))
        return self.licence if is_address or not self.licence else f"https://spdx.org/licenses/{self.licence}.html"

    def absolute(self, path: str) -> str:
        """A path as readers know it: with the URL of the site, and a folder without the name of its page."""
        return f"{self.base_url}{path.removesuffix('index.html')}"


def site_frame(session: Session, marks: NumberMarks, base_url: str, identity: str) -> SiteFrame:
    shell, facts = read_shell(session, "/"), read_chart_facts(session)
    return SiteFrame(
        bench_name=shell.bench_name,
        publication=facts.publication,
        invented=shell.invented,
        scenario=shell.scenario,
        method_version=METHOD_VERSION,
        style=_asset("base.css").path,
        icon=_asset("mark.svg").path,
        script=_asset("explore.js").path,
        own_style=_asset("published.css").path,
        values_script=_asset("values.js").path,
        things=published_items(session),
        addresses=unit_addresses(session),
        marks=marks,
        base_url=f"{base_url.rstrip('/')}/" if base_url else "",
        identity=identity,
        licence=bench_choices(session).licence,
    )


def frame_files() -> list[SiteFile]:
    return [_asset(name) for name in ("base.css", "published.css", "mark.svg", "explore.js", "values.js")]


def rendered(template: str, site: SiteFrame, path: str, title: str, **more: Any) -> SiteFile:
    """A page as a file with relative links.

    more : what its template gets; `description` is for search results and previews, `facts` for machines (JSON-LD)
    """
    page = {"description": "", "facts": "", "card": SITE_CARD}
    page |= {"path": path, "root": "../" * path.count("/"), "title": title, **more}
    html = (
        environment().get_template(f"site/{template}").render(site=site, page=page, with_trial_links=with_trial_links)
    )
    return SiteFile(path, html.encode())


def leads_to(site: SiteFrame, path: str, target: str) -> SiteFile:
    """A page at an earlier address that redirects to today's."""
    return rendered("moved.html", site, path, "Moved", target=target)


def _asset(name: str) -> SiteFile:
    content = (static_folder() / name).read_bytes()
    stem, _, ending = name.rpartition(".")
    return SiteFile(f"assets/{stem}-{short_hash(content)}.{ending}", content)


def short_hash(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()[:16]


_TRIALS = re.compile(r"trials? \d+(?:(?:, \d+)* and \d+)?")
_NUMBER = re.compile(r"\d+")


def with_trial_links(text: str, root: str = "") -> Spans:
    """The text as spans; trial numbers link to their page, relative to `root`.

    >>> [span.text for span in with_trial_links("trials 5 and 91, 12 h a day") if span.address]
    ['5', '91']
    """
    spans, end = [], 0
    for named in _TRIALS.finditer(text):
        for found in _NUMBER.finditer(text, named.start(), named.end()):
            spans += [Span(text[end : found.start()]), Span(found[0], f"{root}trials/{found[0]}.html")]
            end = found.end()
    return tuple(span for span in (*spans, Span(text[end:])) if span.text)
