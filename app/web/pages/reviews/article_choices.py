"""What an article is assembled from: what a unit offers, and what the address of the page chooses of it."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.figures.articles.article_sections import ALWAYS
from app.figures.renderers.svg_colours import Look
from app.services.measurements.sound_clips import clips_of_unit
from app.services.reviews.unit_overview import unit_overview
from app.services.reviews.verdicts import PUBLISHED, Verdict, verdicts_of_unit
from app.services.reviews.wording import Draft, DraftPicture
from app.web.downloads.picture_sizes import SIZES
from app.web.forms.typed_form import TypedForm

LOOKS: tuple[Look, ...] = ("light", "dark", "transparent")
MOST_PICTURES = 24  # drawn for one export; the largest take a second each


@dataclass(frozen=True, slots=True)
class Offer:
    """Something that an article may contain: its value in the address, its words, and the query of a chart or table."""

    value: str
    words: str
    query: str = ""


@dataclass(frozen=True, slots=True)
class Offers:
    """All that a unit offers, by the name of its choice in the address."""

    part: tuple[Offer, ...]
    chart: tuple[Offer, ...]
    table: tuple[Offer, ...]
    photo: tuple[Offer, ...]
    verdict: tuple[Offer, ...]
    size: tuple[Offer, ...] = tuple(Offer(value, words) for value, words in SIZES.items())
    look: tuple[Offer, ...] = tuple(Offer(one, one) for one in LOOKS)


@dataclass(frozen=True, slots=True)
class ArticleChoices:
    """The chosen values, in the order in which they are offered. `verdict` is that of a version; "none" for none.

    size, look : the first chosen one of each is in the text, the others are further files of the folder
    site : URL of the published site as it was typed
    """

    part: tuple[str, ...]
    chart: tuple[str, ...]
    table: tuple[str, ...]
    photo: tuple[str, ...]
    size: tuple[str, ...]
    look: tuple[str, ...]
    verdict: str
    site: str


def read_offers(session: Session, draft: Draft) -> Offers:
    known = unit_overview(session, draft.unit_id)
    unit, channel = draft.unit_id, known.lines.choices.channel
    clips = "&".join(f"clip={clip.id}" for clip in clips_of_unit(session, unit))
    charts = [
        Offer("decay-overlay", "Decay curves of this unit", f"unit={unit}&setting=every&channel={channel}"),
        Offer("ranking", "Clean air of all units", "limit=40"),
        Offer("clearing-times", "Clearing times of all units", "limit=40"),
        Offer("frontier", "Clean air, sound and price of all units", ""),
        *([Offer("claims-measured", "Claims and measurements", f"unit={unit}")] if known.claims else []),
        *([Offer("sound-spectra", "Sound spectra", clips)] if clips else []),
        Offer("cost-over-years", "Cost over the years", f"unit={unit}"),
        *([Offer("price-history", "Prices over time", f"unit={unit}")] if known.prices else []),
    ]
    others = "&".join(f"unit_id={one}" for one in (unit, *draft.others))
    tables = [
        Offer("fact-sheet", "All measurements", f"unit={unit}"),
        *([Offer("comparison", "Compared with the units named in the text", others)] if draft.others else []),
        Offer("running-cost", "Running cost", f"unit={unit}"),
    ]
    photos = [picture for section in draft.sections for picture in section.pictures if photo_id(picture)]
    return Offers(
        part=tuple(Offer(one.key, one.heading) for one in draft.sections if one.key != ALWAYS),
        chart=tuple(charts),
        table=tuple(tables),
        photo=tuple(Offer(photo_id(picture), picture.alt) for picture in photos),
        verdict=_verdicts(verdicts_of_unit(session, unit)),
    )


def photo_id(picture: DraftPicture) -> str:
    """Id of the attachment that a picture of the draft shows; "" for a chart."""
    return picture.address.split("/")[2] if picture.address.startswith("/attachments/") else ""


def _verdicts(versions: Sequence[Verdict]) -> tuple[Offer, ...]:
    """Versions that were not withdrawn: the newest published one first, then others from the newest on."""
    left = sorted((row for row in versions if row.withdrawal is None), key=lambda row: row.state != PUBLISHED)
    shown = [Offer(str(row.version), f"version {row.version}, {row.state}, {row.written_at.date()}") for row in left]
    return (*shown, Offer("none", "none"))


def article_choices(form: TypedForm, offers: Offers) -> ArticleChoices:
    """The choices of an address: what is not named in it is as offered first, an empty name chooses nothing.

    Unknown values are noted beside their field.
    """

    def chosen(name: str, what: str, default: tuple[str, ...]) -> tuple[str, ...]:
        asked = [text for text in form.values.get(name, ["*"]) if text]
        known = [one.value for one in getattr(offers, name)]
        for text in asked:
            if text not in known and text != "*":
                form.add_error(name, f"{what} is {text[:60]!r}; choose of: {', '.join(known) or 'nothing'}.")
        return default if asked == ["*"] else tuple(value for value in known if value in asked)

    every_part = tuple(one.value for one in offers.part)
    own_charts = tuple(one.value for one in offers.chart if one.value in ("decay-overlay", "claims-measured"))
    verdict = form.one_of("verdict", "The verdict", [one.value for one in offers.verdict]) or offers.verdict[0].value
    return ArticleChoices(
        part=chosen("part", "The part", every_part),
        chart=chosen("chart", "The chart", own_charts),
        table=chosen("table", "The table", ()),
        photo=chosen("photo", "The photo", tuple(one.value for one in offers.photo)),
        size=chosen("size", "The size", ("article",)) or ("article",),
        look=chosen("look", "The look", ("light",)) or ("light",),
        verdict=verdict,
        site=form.text("site"),
    )
