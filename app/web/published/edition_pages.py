"""Files of a site that name its edition: ranking, changes, feed, and the list of numbers."""

from sqlalchemy.orm import Session

from app.services.publishing.editions import NUMBERS
from app.web.published.change_pages import changes_files, edition_files
from app.web.published.site_frame import SiteFile
from app.web.published.site_metadata import metadata_files
from app.web.published.site_pages import ranking_files
from app.web.published.upcoming_edition import UpcomingEdition


def edition_dependent_files(session: Session, upcoming: UpcomingEdition, number: int) -> list[SiteFile]:
    """The files as part of the edition with that number."""
    editions = upcoming.editions(number)
    site = upcoming.frame
    return [
        SiteFile(NUMBERS, upcoming.numbers_json),
        *ranking_files(session, site, editions[0]),
        *changes_files(session, site, editions),
        *metadata_files(site, editions[0]),
        *edition_files(site, editions[0]),  # those of earlier editions stay as they are
    ]
