"""What is known of a unit and what is missing, each with the place where it is entered."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from app.compute.wording.numbers import counted, listed
from app.services.reviews.unit_overview import UnitOverview

RUNS_PLANNED = 2  # for each setting; common practice, no source: one run says nothing of the spread between runs


@dataclass(frozen=True, slots=True)
class ChecklistItem:
    """One fact about a unit, known or missing.

    state : what is known, in words
    form_address : page whose form is opened in place
    part : the part of that form which is shown; "" for all of it
    """

    name: str
    is_known: bool
    state: str
    form_address: str
    part: str = ""


def checklist(
    known: UnitOverview, planned: Mapping[str, tuple[int, int]], *, photos: int, recordings: int, verdicts: int
) -> tuple[ChecklistItem, ...]:
    """planned : by name of a setting, runs in campaigns and how many of them are done"""
    own = f"/units/{known.unit.id}"

    def entered(name: str, is_known: bool, state: str, page: str, part: str = "") -> ChecklistItem:
        return ChecklistItem(name, is_known, state, f"{own}/{page}", part)

    settings = len(known.unit.settings)
    levels = sum(each.level is not None for each in known.sounds)
    powers = sum(each.power is not None for each in known.powers if each.setting is not None)
    return (
        _runs(known, planned),
        _empty_room(known),
        entered("Sound", 0 < settings <= levels, _of_settings(levels, settings), "sound"),
        entered("Power", 0 < settings <= powers, _of_settings(powers, settings), "power"),
        entered("Price", bool(known.prices), counted(len(known.prices), "price"), "edit", "price"),
        entered("Filters and other parts", *_parts(known), "edit", "parts"),
        entered("Claims of the maker", bool(known.claims), counted(len(known.claims), "claim"), "claims"),
        entered("Certified rates", bool(known.ratings), counted(len(known.ratings), "rate"), "ratings"),
        entered("Ozone", bool(known.ozone.tests), counted(len(known.ozone.tests), "test"), "ozone"),
        entered("Recordings", recordings > 0, counted(recordings, "calibrated recording"), "clips"),
        entered("Photos and documents", photos > 0, counted(photos, "file"), "attachments"),
        entered("Verdict", verdicts > 0, "written" if verdicts else "not written yet", "draft"),
    )


def _of_settings(number: int, settings: int) -> str:
    return f"{number} of {counted(settings, 'setting')}" if settings else "no settings yet"


def _runs(known: UnitOverview, planned: Mapping[str, tuple[int, int]]) -> ChecklistItem:
    """Runs of each setting against the campaigns that plan it, or against the usual number where none does."""
    name = "Usable runs"
    runs = [(line.row.setting or "", line.row.usable_trials or 0) for line in known.lines.lines if line.row.setting_id]
    address = f"/trials/add?kind=unit+running&unit_under_test_id={known.unit.id}"
    if not runs:
        return ChecklistItem(name, False, "no settings yet", address)
    missing = [
        f"{RUNS_PLANNED - number} at “{setting}”"
        for setting, number in runs
        if number < RUNS_PLANNED and setting not in planned
    ]
    to_do = [
        f"{done} of {of_plan} planned runs at “{setting}” done"
        for setting, (of_plan, done) in planned.items()
        if done < of_plan
    ]
    if not missing and not to_do:
        state = "all planned runs done" if planned else f"{RUNS_PLANNED} or more at each setting"
        return ChecklistItem(name, True, state, address)
    parts = [*to_do, *([f"missing: {listed(missing)}"] if missing else [])]
    return ChecklistItem(name, False, "; ".join(parts), address)


def _empty_room(known: UnitOverview) -> ChecklistItem:
    lines = [line for line in known.lines.lines if line.row.usable_trials]
    matched = sum(line.row.pool_id is not None for line in lines)
    state = f"match {matched} of {counted(len(lines), 'setting')} with runs" if lines else "no usable run to match yet"
    return ChecklistItem("Empty-room runs", 0 < len(lines) == matched, state, "/trials/add?kind=empty+room")


def _parts(known: UnitOverview) -> tuple[bool, str]:
    if known.unit.consumables_state == "none needed":
        return True, "needs none"
    without = sum(
        not part.prices or (part.life_months is None and part.life_running_hours is None) for part in known.parts
    )
    if not known.parts:
        return False, "not recorded"
    return without == 0, counted(len(known.parts), "part") + (f", {without} without price or life" if without else "")


def missing_text(items: Sequence[ChecklistItem]) -> str:
    """How much is missing, in one sentence."""
    missing = [item.name[:1].lower() + item.name[1:] for item in items if not item.is_known]
    return (
        f"{len(items) - len(missing)} of {len(items)} known; missing: {listed(missing)}." if missing else "All known."
    )
