"""Invented photos for the units with recordings: drawn, and labelled as such in the picture itself."""

from datetime import date
from io import BytesIO

from PIL import Image, ImageDraw, ImageFont
from sqlalchemy.orm import Session

from app.services.units.attachments.attach import Evidence, attach
from app.services.units.attachments.definitions import NewAttachment
from seed_demo.fill_bench import noon

SIZE_PX = (640, 360)
_CASE, _GLASS, _DIGITS = "#4a4f57", "#c9d3c0", "#20261c"


def add_display(session: Session, belongs_to: Evidence, reading: str, day: date, who: str) -> None:
    """Attaches the drawn display of a meter that shows the reading."""
    caption = f"Meter display: {reading}. Drawn for the demonstration, not photographed."
    new = NewAttachment(shows="meter display", caption=caption, taken_on=day, for_readers=True)
    attach(session, belongs_to, display(reading), "meter_display.png", new, who=who, now=noon(day))


def display(reading: str) -> bytes:
    """A PNG of a meter's display; the same reading gives the same bytes."""
    width, height = SIZE_PX
    image = Image.new("RGB", SIZE_PX, _CASE)
    draw = ImageDraw.Draw(image)
    draw.rounded_rectangle((60, 50, width - 60, height - 110), 12, fill=_GLASS)
    draw.text((width / 2, 150), reading, _DIGITS, font=ImageFont.load_default(84), anchor="mm")
    draw.text(
        (width / 2, height - 55),
        "invented: no such meter exists",
        "white",
        font=ImageFont.load_default(28),
        anchor="mm",
    )
    out = BytesIO()
    image.save(out, "PNG", optimize=True)
    return out.getvalue()
