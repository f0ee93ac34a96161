"""Where readers find what a page of the bench shows: its address in the published site."""

import re
from dataclasses import dataclass

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.errors import InvalidValue
from app.services.publishing.editions import SUBJECT, manifest_of, newest_edition
from app.services.publishing.unit_addresses import UnitAddresses, unit_addresses
from app.storage.models.bench import Change

_ITEM = re.compile(r"/(units|trials)/(\d+)(?:[/?#].*)?")
_PAGES = {
    "/": "index.html",
    "/room": "index.html",
    "/ranking/order": "index.html",
    "/compare": "pictures.html",
    "/costs": "costs.html",
    "/method": "method.html",
    "/bench": "method.html",
}


@dataclass(frozen=True, slots=True)
class PublicLinks:
    """Links into the newest edition.

    base_url : URL of the site with a slash at its end; "" if nobody has said it
    edition : its number and day; None before the first
    changed_since : the bench has changed since
    """

    base_url: str
    edition: tuple[int, str] | None
    files: frozenset[str]
    addresses: UnitAddresses
    changed_since: bool

    def of(self, address: str) -> str:
        """The public address of a page of the bench; "" where readers have none.

        >>> files = frozenset({"trials/5.html"})
        >>> links = PublicLinks("https://a.example/", (1, ""), files, UnitAddresses({}, {}), False)
        >>> links.of("/trials/5#notes"), links.of("/trials/6"), links.of("/loggers/2/edit")
        ('https://a.example/trials/5.html', '', '')
        """
        path = self._path(address)
        return f"{self.base_url}{path.removesuffix('index.html')}" if self.base_url and path in self.files else ""

    def _path(self, address: str) -> str:
        found = _ITEM.fullmatch(address)
        if found is None:
            return _PAGES.get(address.partition("?")[0].partition("#")[0], "")
        number = int(found[2])
        if found[1] == "trials":
            return f"trials/{number}.html"
        return self.addresses.page(number) if number in self.addresses.current else ""

    @property
    def notice(self) -> str:
        """What keeps links from leading to the numbers of today; "" if nothing does."""
        if self.edition is None:
            return "Nothing is published yet, so no number has a link: publish an edition first."
        if not self.base_url:
            return (
                "No public address is known, so no number has a link: enter it here, or publish with --base-url. "
                f"Edition {self.edition[0]} of {self.edition[1]} was published without one."
            )
        if self.changed_since:
            return (
                f"The bench has changed since edition {self.edition[0]} of {self.edition[1]}, to which the links lead: "
                "publish again, so that readers find the numbers of this article there."
            )
        return ""


def public_links(session: Session, site: str = "") -> PublicLinks:
    """Links into the newest edition. `site` is its URL; empty: the one that it was published with.

    Raises InvalidValue for a URL that is none.
    """
    if site and not re.fullmatch(r"https?://[^\s\"'<>?#]+", site):
        raise InvalidValue(
            f"The public address is {site[:100]!r}; enter the URL of the published site, such as "
            "https://desk.example/cleaners/.",
            field="site",
        )
    newest = newest_edition(session)
    if newest is None:
        return PublicLinks(_with_slash(site), None, frozenset(), unit_addresses(session), False)
    manifest = manifest_of(session, newest)
    later = select(func.count()).where(Change.id > newest.last_change_id, Change.subject != SUBJECT)
    return PublicLinks(
        base_url=_with_slash(site or manifest.base_url),
        edition=(manifest.edition, manifest.published_at[:10]),
        files=frozenset(manifest.files.keys() - set(manifest.taken_down)),
        addresses=unit_addresses(session),
        changed_since=bool(session.scalar(later)),
    )


def _with_slash(url: str) -> str:
    return f"{url.rstrip('/')}/" if url else ""
