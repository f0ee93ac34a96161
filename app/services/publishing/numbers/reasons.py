"""Why a number moved: from what it was based on before and after, and from the record of changes in between."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.compute.wording.numbers import listed
from app.services.history.change_labels import field_label
from app.services.publishing.numbers.published_number import PublishedNumber
from app.storage.models.bench import Change

_GONE = {"excluded": "excluded", "trashed": "moved to the trash"}
_BACK = {"restored": "included again", "untrashed": "back from the trash"}
# kinds of sources of which a number has one: a new text means another value of it
_SINGLE = {
    "price": "price of",
    "tariff": "price of electricity:",
    "use": "assumed use:",
    "room": "volume of the room:",
    "sound rule": "rule for sound levels:",
    "claim": "claim,",
    "rating": "certified rate:",
    "ozone test": "ozone test of",
}
_OF_SEVERAL = {
    "sound": "sound",
    "power": "power",
    "standby": "standby power",
    "parts": "part",
    "empty-room trial": "empty-room trial",
}
_SHARED = ("sound rule", "use", "tariff", "room", "repeatability")  # no reason for a number to come or go
NO_CAUSE = "no cause in the record of changes"


@dataclass(frozen=True, slots=True)
class Reasons:
    """Changes recorded since the edition before, by trial and unit, and the trials that are new on the bench."""

    trials: dict[int, list[Change]] = field(default_factory=dict)
    units: dict[int, list[Change]] = field(default_factory=dict)
    program_before: str = ""
    program: str = ""

    @property
    def new_trials(self) -> list[int]:
        return sorted(one for one, changes in self.trials.items() if any(c.action == "added" for c in changes))

    def of(self, old: PublishedNumber | None, new: PublishedNumber | None) -> str:
        """The reasons as one phrase; "no cause in the record of changes" where nothing explains it."""
        causes = self._trials(old, new)
        if not causes or (old is not None and new is not None):
            causes += [*self._sources(old, new), *self._corrections(old, new)]
        if old and new and old.method_version != new.method_version:
            causes.append(f"method {new.method_version or '–'} (was {old.method_version or '–'})")
        if not causes:
            causes = self._of_item(old, new)
        if not causes and self.program != self.program_before:
            causes = [f"program version {self.program} (was {self.program_before})"]
        return "; ".join(dict.fromkeys(causes)) or NO_CAUSE

    def _trials(self, old: PublishedNumber | None, new: PublishedNumber | None) -> list[str]:
        before, after = _trials_of(old), _trials_of(new)
        added = [self._arrival("trial", one) for one in sorted(after - before)]
        return [*added, *(self._departure("trial", one) for one in sorted(before - after))]

    def _arrival(self, noun: str, trial_id: int) -> str:
        actions = [change.action for change in self.trials.get(trial_id, [])]
        if "added" in actions:
            return f"new {noun} {trial_id}"
        words = next((_BACK[action] for action in actions if action in _BACK), "now counts")
        return f"{noun} {trial_id} {words}"

    def _departure(self, noun: str, trial_id: int) -> str:
        for change in reversed(self.trials.get(trial_id, [])):
            if change.action in _GONE:
                return f"{noun} {trial_id} {_GONE[change.action]}{f': {change.why}' if change.why else ''}"
        return f"{noun} {trial_id} no longer counts"

    def _sources(self, old: PublishedNumber | None, new: PublishedNumber | None) -> Iterable[str]:
        before, after = _by_kind(old), _by_kind(new)
        for kind in [*after, *(kind for kind in before if kind not in after)]:
            gone = [text for text in before.get(kind, []) if text not in after.get(kind, [])]
            come = [text for text in after.get(kind, []) if text not in before.get(kind, [])]
            if kind in _SHARED and (old is None or new is None):
                continue
            if kind == "repeatability":
                yield from self._repeatability(come or gone)
            elif kind == "empty-room trial":
                yield from (self._arrival(kind, int(text)) for text in come)
                yield from (self._departure(kind, int(text)) for text in gone)
            elif kind in _SINGLE:
                yield from (f"{_SINGLE[kind]} {text}" for text in come)
                yield from (f"{_SINGLE[kind]} {text} removed" for text in gone if not come)
            else:
                noun = _OF_SEVERAL.get(kind, kind)
                yield from (f"{noun} {text}" if kind == "parts" else f"new {noun} {text}" for text in come)
                yield from (f"{noun} {text} removed" for text in gone if kind != "parts" or not come)

    def _repeatability(self, changed: list[str]) -> list[str]:
        if not changed:
            return []
        new = self.new_trials
        of = f", with new {'trial' if len(new) == 1 else 'trials'} {listed([str(one) for one in new])}" if new else ""
        return [f"spread between repeats on the whole bench{of}"]

    def _corrections(self, old: PublishedNumber | None, new: PublishedNumber | None) -> Iterable[str]:
        """Corrections of trials that count before and after; a new trial explains itself."""
        runs = {int(text) for kind, text in _pairs(old) & _pairs(new) if kind == "empty-room trial"}
        for trial_id in sorted((_trials_of(old) & _trials_of(new)) | runs):
            fields = [change.field for change in self.trials.get(trial_id, []) if change.action == "changed"]
            if fields:
                labels = listed(list(dict.fromkeys(field_label(name).strip() for name in fields)))
                yield f"correction of trial {trial_id}: {labels}"

    def _of_item(self, old: PublishedNumber | None, new: PublishedNumber | None) -> list[str]:
        """Changes of the number's own unit, where its sources tell nothing: of a whole unit, or of what is entered."""
        named = new or old
        changes = self.units.get(named.unit_id or 0, []) if named is not None else []
        whole = [change for change in changes if change.field == ""]
        if whole:
            words = {"added": "new unit", "trashed": "unit moved to the trash", "untrashed": "unit back from the trash"}
            return [f"{words[c.action]}{f': {c.why}' if c.why else ''}" for c in whole if c.action in words]
        entered = [change for change in changes if change.action == "changed"]
        return [f"correction: {field_label(change.field).strip()}" for change in entered]


def read_reasons(session: Session, after_change: int, program_before: str, program: str) -> Reasons:
    """Reasons from the changes recorded after the one with that id."""
    trials: dict[int, list[Change]] = defaultdict(list)
    units: dict[int, list[Change]] = defaultdict(list)
    for change in session.scalars(select(Change).where(Change.id > after_change).order_by(Change.id)):
        if change.subject == "trial" and change.action != "recomputed":
            trials[change.subject_id].append(change)
        elif change.subject == "unit under test":
            units[change.subject_id].append(change)
    return Reasons(dict(trials), dict(units), program_before, program)


def _pairs(number: PublishedNumber | None) -> set[tuple[str, str]]:
    return set(number.based_on) if number is not None else set()


def _trials_of(number: PublishedNumber | None) -> set[int]:
    return set(number.trials) if number is not None else set()


def _by_kind(number: PublishedNumber | None) -> dict[str, list[str]]:
    found: dict[str, list[str]] = defaultdict(list)
    for kind, text in number.based_on if number is not None else ():
        found[kind].append(text)
    return dict(found)
