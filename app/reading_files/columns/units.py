"""The unit of a column that is taken for a channel, and what turns it into the channel's unit."""

from app.reading_files.headers.channels import COUNT_UNIT, RAW_COUNTS, channel
from app.reading_files.headers.preamble import Preamble
from app.reading_files.log_table import LogColumn
from app.reading_files.text.plain_text import plain_text
from app.reading_files.text.unit_symbols import conversion, shown_unit


def as_channel(
    position: int, header: str, name: str, unit: str, reason: str, first_values: tuple[str, ...], preamble: Preamble
) -> LogColumn:
    """The column as the channel `name`, with the conversion from its unit.

    unit : as the header, a line of units or a person gave it; "" if nobody did
    """

    def column(file_unit: str, channel_unit: str, factor: float, offset: float, why: str) -> LogColumn:
        return LogColumn(position, header, name, "channel", file_unit, channel_unit, factor, offset, why, first_values)

    wanted = channel(name).unit
    if not unit and preamble.unit and wanted and conversion(preamble.unit, wanted):
        unit, reason = preamble.unit, f"{reason}; unit from the lines above the table"
    turned = conversion(unit, wanted) if unit else None
    if turned is not None:
        return column(shown_unit(unit), wanted, turned.factor, turned.offset, reason)
    if unit:
        own = shown_unit(unit)
        why = f"{reason}; {own} cannot be turned into {wanted} and is kept" if wanted else reason
        return column(own, own, 1.0, 0.0, why)
    if wanted == COUNT_UNIT:
        return column("", RAW_COUNTS, 1.0, 0.0, f"{reason}; no unit in the file: counts as they are")
    if name.startswith("voc") and "index" in plain_text(header):
        return column("index", "index", 1.0, 0.0, reason)
    why = f"{reason}; no unit in the file" + (f": {wanted} assumed" if wanted else "")
    return column("", wanted, 1.0, 0.0, why)
