"""What a message holds: one reading, or several, as JSON.

A reading is an object with `time` (ISO 8601 with its zone) and a number for each channel. A channel is named as in the
API (`pm2_5`, in the channel's own unit of measure), or by a column heading with its unit (`PM2.5 [mg/m³]`), which is
read as in a file. Several readings are a list, or `{"readings": [...]}` as in `POST /api/runs/{id}/readings`.
"""

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from app.errors import InvalidValue
from app.reading_files.columns.roles import NO_CHANNEL_USES
from app.reading_files.headers.channels import channel, has_known_form, split_detector
from app.reading_files.headers.words import header_meaning, split_unit
from app.reading_files.text.unit_symbols import Conversion, conversion

MOST_BYTES = 1_000_000
_EXAMPLE = '{"time": "2026-01-05T10:00:00Z", "pm2_5": 212.4}'
_SHOWN = 60


@dataclass(slots=True)
class PayloadReader:
    """Reads messages. `columns` assigns names to channels where their own words do not tell.

    left_out : names that are no channel, each with the reason; a message about each is due once
    """

    columns: Mapping[str, str]
    left_out: dict[str, str] = field(default_factory=dict)
    _known: dict[str, tuple[str, Conversion | None] | None] = field(default_factory=dict)

    def readings(self, payload: bytes) -> list[dict[str, Any]]:
        """The readings of a message, as the API takes them. Raises InvalidValue: what was found, needed, and to do."""
        if len(payload) > MOST_BYTES:
            raise InvalidValue(
                f"A message of {len(payload)} bytes; at most {MOST_BYTES} are read. Send fewer readings at a time."
            )
        try:
            content = json.loads(payload)
        except (ValueError, RecursionError):
            raise InvalidValue(
                f"Found {_shown(payload.decode(errors='replace'))}, which is not JSON; expected a reading such as "
                f"{_EXAMPLE}. Set the logger's message format."
            ) from None
        rows = content.get("readings") if isinstance(content, dict) and "readings" in content else content
        rows = rows if isinstance(rows, list) else [rows]
        if not rows:
            raise InvalidValue(f"Found a message without a reading; expected one such as {_EXAMPLE}.")
        return [self._reading(row) for row in rows]

    def _reading(self, row: object) -> dict[str, Any]:
        if not isinstance(row, dict):
            raise InvalidValue(f"Found {_shown(json.dumps(row))}; expected an object such as {_EXAMPLE}.")
        reading: dict[str, Any] = {"time": _time(next((row[name] for name in row if self._is_time(name)), None))}
        for name, value in row.items():
            use = None if self._is_time(name) else self._use(name)
            if use is None or value is None:
                continue
            if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
                raise InvalidValue(
                    f"Found {_shown(json.dumps(value))} as {name!r}; expected a number, or null where there is none. "
                    "Set the logger's message format."
                )
            levels = value if use[1] is None else value * use[1].factor + use[1].offset
            reading.setdefault(use[0], float(levels))
        if len(reading) == 1:
            raise InvalidValue(
                f"Found no channel in {_shown(json.dumps(row, ensure_ascii=False))}; expected a name such as pm2_5, "
                "or a heading with its unit such as “PM2.5 [µg/m³]”. Assign others with --columns NAME=CHANNEL."
            )
        return reading

    def _is_time(self, name: str) -> bool:
        return name == "time" or self.columns.get(name) == "time"

    def _use(self, name: str) -> tuple[str, Conversion | None] | None:
        """Channel of a name and the conversion to its unit; None for a name that is left out."""
        if name not in self._known:
            self._known[name] = self._found_use(name)
        return self._known[name]

    def _found_use(self, name: str) -> tuple[str, Conversion | None] | None:
        assigned = self.columns.get(name)
        if assigned is None and _is_channel(name):
            return name, None
        if assigned is not None and not _is_channel(assigned):
            reason = "assigned so" if assigned in ("", *NO_CHANNEL_USES) else f"a live run has no channel {assigned!r}"
            self.left_out[name] = reason
            return None
        meaning = header_meaning(name)
        found = assigned or meaning.channel
        found = f"{found}_{meaning.detector}" if found and not assigned and meaning.detector else found
        if found is None or not _is_channel(found):
            self.left_out[name] = meaning.reason
            return None
        wanted, unit = channel(found).unit, split_unit(name)[1]
        change = conversion(unit, wanted) if unit else None
        if change is None and (unit or assigned is None):
            found_unit = f"has the unit {unit!r}" if unit else "has no unit"
            self.left_out[name] = f"it {found_unit}; write it as “{name.split(' [')[0]} [{wanted}]”, or {found}"
            return None
        return found, change


def _is_channel(name: str) -> bool:
    return has_known_form(name) or has_known_form(split_detector(name)[0])


def _time(text: object) -> str:
    needed = "expected an ISO 8601 time with its zone, such as 2026-01-05T10:00:00Z. Set the logger's message format."
    if not isinstance(text, str):
        found = "no time" if text is None else f"the time {_shown(json.dumps(text))}"
        raise InvalidValue(f"Found {found}; {needed}")
    try:
        time = datetime.fromisoformat(text)
    except ValueError:
        raise InvalidValue(f"Found the time {_shown(text)!r}; {needed}") from None
    if time.tzinfo is None:
        raise InvalidValue(f"Found the time {_shown(text)!r} without a zone; {needed}")
    if not 1990 <= time.year <= 2100:
        raise InvalidValue(
            f"Found the time {_shown(text)!r}; expected a year from 1990 to 2100. Set the logger's clock."
        )
    return time.isoformat()


def _shown(text: str) -> str:
    plain = " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())
    return plain if len(plain) <= _SHOWN else f"{plain[:_SHOWN]}…"
