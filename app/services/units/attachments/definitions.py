"""What is entered of a photo or a document."""

from dataclasses import dataclass
from datetime import date

from app.services.store.entry_fields import choice, day, flag, text

SHOWS = ("meter display", "unit", "test setup", "label", "receipt", "manual", "other")


@dataclass(frozen=True, slots=True, kw_only=True)
class NewAttachment:
    """One file. Only a photo can be for readers, because only its published copy is free of hidden data."""

    shows: str = choice("Shows", SHOWS, default="other", what="What it shows")
    caption: str = text("Caption", what="The caption", help="What it shows, such as a reading.", longest=500)
    taken_on: date | None = day("Taken on", "The file", help="If empty, the date stored in the photo.")
    for_readers: bool = flag("Show it to readers, in drafts, on published pages and in data packages")
