"""Channels that a person can assign to a column: a known channel, a use without a channel, or their own."""

from app.errors import InvalidValue
from app.reading_files.columns.roles import NO_CHANNEL_USES
from app.reading_files.headers.channels import CHANNELS, channel_name, has_known_form, split_detector

OWN = "own:"
_LONGEST_SHOWN = 40


def requested_channel(text: str, field: str) -> str:
    """Channel name for a column; "" excludes it.

    The list of channels is open, but a typing error must not extend it: a new channel needs the prefix
    `own:`. It keeps the unit of its file.

    field : of the form or the command, for the error
    Raises   InvalidValue for an unknown name without the prefix

    >>> [requested_channel(text, "columns") for text in ("PM2.5", "own:NO₂", "elapsed")]
    ['pm2_5', 'no2', 'elapsed']
    """
    said = text.strip()
    if said in ("", *NO_CHANNEL_USES):
        return said
    if said.casefold().startswith(OWN):
        own = channel_name(said[len(OWN) :])
        if own:
            return own
        raise InvalidValue(
            f"Found {said[:_LONGEST_SHOWN]!r}; {OWN} must be followed by the channel name, such as {OWN}no2.",
            field=field,
        )
    name = channel_name(said)
    if has_known_form(name) or has_known_form(split_detector(name)[0]):
        return name
    raise InvalidValue(
        f"There is no channel {said[:_LONGEST_SHOWN]!r}.{_nearest(name)} Choose one of {', '.join(CHANNELS)}; "
        f"count_0_3um or another size; pm2_5_b for a second detector; band_1khz; or {', '.join(NO_CHANNEL_USES)}. For "
        f"any other channel enter {OWN}{name or 'NAME'}; it is stored under that name in the file's unit of measure.",
        field=field,
    )


def _nearest(name: str) -> str:
    from difflib import get_close_matches  # loaded when used: only for an error

    found = get_close_matches(name, CHANNELS, n=1, cutoff=0.6)
    return f" Did you mean {found[0]}?" if found else ""
