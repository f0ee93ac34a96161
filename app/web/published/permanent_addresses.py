"""No published address breaks: that of a renamed unit leads to today's, and that of a deleted one shows a notice."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from sqlalchemy.orm import Session

from app.services.publishing.editions import Manifest
from app.services.publishing.published_items import reasons_for_trash
from app.services.publishing.unit_addresses import UnitAddresses
from app.web.published.site_frame import SITE_CARD, SiteFile, SiteFrame, rendered
from app.web.published.site_photos import FOLDER as PHOTOS
from app.web.published.site_photos import taken_down_photo

_PARTS = ("units/", "charts/", "data/", "cards/")
_NOTICE = {
    ".csv": "notice\n{words}\n",
    ".json": '{{"taken_down": "{words}"}}\n',
    ".svg": '<svg xmlns="http://www.w3.org/2000/svg" width="390" height="60" viewBox="0 0 390 60">'
    '<title>{words}</title><text x="8" y="34" font-family="sans-serif" font-size="13">{words}</text></svg>\n',
}


@dataclass(frozen=True, slots=True)
class Kept:
    """Files for addresses that the pages of today no longer have.

    same_as : address to a file of today with the same content; unchanged : addresses whose file stays as it was
    notices : files that say that something was taken down
    """

    same_as: dict[str, str] = field(default_factory=dict)
    unchanged: list[str] = field(default_factory=list)
    notices: list[SiteFile] = field(default_factory=list)
    taken_down: list[str] = field(default_factory=list)


def kept_addresses(
    session: Session, site: SiteFrame, before: Manifest | None, now: Mapping[str, str], day: str, failed: frozenset[str]
) -> Kept:
    """Files for the addresses of the edition before that today's files lack.

    now : path to SHA-256 of today's files; day : of this edition
    failed : addresses whose page or chart failed, so that the former file stays
    """
    kept = Kept()
    if before is None:
        return kept
    reasons = reasons_for_trash(session)
    down = set(before.taken_down)
    for path in sorted(before.files.keys() - now.keys()):
        if (today := _of_renamed(path, site.addresses, now)) is not None:
            kept.same_as[path] = today
        elif path in down or path in failed or path.startswith("editions/"):
            kept.unchanged.append(path)
            kept.taken_down.extend([path] if path in down else [])
        elif path.startswith("cards/") and SITE_CARD in now:
            kept.same_as[path] = SITE_CARD
        elif (notice := _notice(site, path, day, reasons)) is not None:
            kept.notices.append(notice)
            kept.taken_down.append(path)
        else:  # raw files, former style sheets: what stands under a hash is never anything else
            kept.unchanged.append(path)
    return kept


def _of_renamed(path: str, addresses: UnitAddresses, now: Mapping[str, str]) -> str | None:
    for part, name in _named(path):
        owner = addresses.earlier.get(name)
        if owner is not None and owner in addresses.current:
            today = f"{part}{addresses.current[owner]}{path.removeprefix(f'{part}{name}')}"
            return today if today in now else None
    return None


def _named(path: str) -> Iterator[tuple[str, str]]:
    """The part of the site, and each name of a unit that the rest of a path may begin with, longest first."""
    part = next((one for one in _PARTS if path.startswith(one)), None)
    if part is None:
        return
    name = path.removeprefix(part).partition("/")[0].partition(".")[0]
    while name:
        yield part, name
        name = name.rpartition("-")[0]


def _notice(site: SiteFrame, path: str, day: str, reasons: Mapping[str, str]) -> SiteFile | None:
    """A file that says what was taken down; None for a kind of file that cannot say it."""
    if path.startswith(PHOTOS):
        return taken_down_photo(path, day)
    what, why = _subject(site, path, reasons)
    if path.endswith(".html"):
        return rendered("taken_down.html", site, path, f"{what} was taken down", what=what, day=day, why=why)
    form = next((form for ending, form in _NOTICE.items() if path.endswith(ending)), None)
    if form is None or not path.startswith((*_PARTS, "trials/")):
        return None
    return SiteFile(path, form.format(words=f"{what} was taken down on {day}.").encode())


def _subject(site: SiteFrame, path: str, reasons: Mapping[str, str]) -> tuple[str, str]:
    """What stood at a path, in words that hold nothing of what was taken down but its address; and why."""
    trial = path.partition("trials/")[2].partition(".")[0] or path.partition("/trial-")[2].partition(".")[0]
    if trial.isdecimal():
        return f"Trial {trial}", reasons.get(f"trial {trial}", "")
    owners = {**{address: unit for unit, address in site.addresses.current.items()}, **site.addresses.earlier}
    for part, name in _named(path):
        if name in owners or (part == "units/" and name.isdecimal()):
            unit_id = owners.get(name, int(name) if name.isdecimal() else 0)
            address = site.addresses.current.get(unit_id, name)
            return f"The unit {address}", reasons.get(f"unit under test {unit_id}", "")
    return "This page", ""
