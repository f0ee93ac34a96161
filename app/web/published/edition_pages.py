"""Files of a site that name its edition: ranking, changes, feed, and the list of numbers."""

from sqlalchemy.orm import Session

from app.services.publishing.editions import NUMBERS
from app.web.published.change_pages import changes_files, edition_files
from app.web.published.edition_at_hand import EditionAtHand
from app.web.published.page_facts import found_files
from app.web.published.site_frame import SiteFile
from app.web.published.site_pages import ranking_files


def edition_dependent_files(session: Session, at_hand: EditionAtHand, number: int) -> list[SiteFile]:
    """The files as part of the edition with that number."""
    editions = at_hand.editions(number)
    site = at_hand.frame
    return [
        SiteFile(NUMBERS, at_hand.numbers_json),
        *ranking_files(session, site, editions[0]),
        *changes_files(session, site, editions),
        *found_files(site, editions[0]),
        *edition_files(site, editions[0]),  # those of earlier editions stay as they are
    ]
