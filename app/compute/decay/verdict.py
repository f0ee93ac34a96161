"""The verdict on one channel of a trial, from its notes. Nothing else judges a trial."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from app.compute.wording.notes import Advice, Note

Status = Literal["usable", "check", "unusable"]
_SEVERITY = {"check": "care", "unusable": "unusable"}


@dataclass(frozen=True, slots=True)
class Verdict:
    """usable; check (usable, after reading the reasons); unusable (no result, with the reasons and what to do)."""

    status: Status
    reasons: tuple[str, ...]
    advice: tuple[Advice, ...]


def verdict_of(notes: Iterable[Note]) -> Verdict:
    """The worst severity among the notes decides; reasons and advice are those of its notes.

    >>> verdict_of([Note("saturation", "care", "12 readings are too high.", advice=Advice("less_smoke"))]).status
    'check'
    """
    known = tuple(notes)
    severities = {note.severity for note in known}
    status: Status = "unusable" if "unusable" in severities else "check" if "care" in severities else "usable"
    decisive = [note for note in known if note.severity == _SEVERITY.get(status)]
    advice = [note.advice for note in decisive if note.advice is not None]
    return Verdict(status, tuple(dict.fromkeys(note.message for note in decisive)), tuple(dict.fromkeys(advice)))
