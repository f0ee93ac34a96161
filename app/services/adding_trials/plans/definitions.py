"""What is asked of a plan, and how a campaign is entered."""

from dataclasses import dataclass
from datetime import date
from typing import get_args

from app.compute.planning.answer import Goal
from app.compute.planning.precision import MOST_TRIALS
from app.errors import InvalidValue
from app.services.bench.definitions import AEROSOLS
from app.services.store.checked_values import LONGEST_NAME
from app.services.store.entry_fields import choice, count, day, number, text

GOALS: tuple[Goal, ...] = get_args(Goal)
GOAL_WORDS = {
    "order": "make the order of the ranking more certain",
    "rate": "narrow the interval of one unit’s rate",
    "difference": "tell two units apart",
}
MOST_RUNS_A_DAY = 12


def _day_planned(value: date | None, field: str, what: str) -> date | None:
    if value is not None and not 1990 <= value.year <= 2100:
        raise InvalidValue(f"{what} is {value.isoformat()}; enter a year from 1990 to 2100.", field=field)
    return value


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanChoices:
    """A question on runs to come. Settings are needed for a rate (one) and for a difference (two).

    setting_id, other_setting_id : tested settings; room_id : None for the room with most trials
    """

    goal: str = choice("Question", GOALS, default="order", what="The question", choice_words=GOAL_WORDS)
    setting_id: int | None = None
    other_setting_id: int | None = None
    room_id: int | None = None
    within_pct: float = number(
        "Half-width of the interval", "%", default=5.0, least=0.1, most=100.0, what="The half-width"
    )
    power_pct: float = number("Power", "%", default=90.0, least=50.0, most=99.0, what="The power")
    difference_pct: float | None = number(
        "Difference to detect",
        "%",
        "Of the first unit’s rate. Leave empty for the measured difference.",
        what="The difference to detect",
    )
    trials: int = count("Trials to plan", default=6, most=MOST_TRIALS, what="The number of trials")
    runs_a_day: int = count("Runs a day", default=3, most=MOST_RUNS_A_DAY, what="The number of runs a day")
    seed: int = count("Seed of the random order", default=1, most=999_999, what="The seed")
    starts_on: date | None = day("First day", "The first day", check=_day_planned)
    channel: str = text("Channel", longest=LONGEST_NAME)
    aerosol: str = choice("Aerosol", AEROSOLS, default="smoke", what="The aerosol")


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPlan:
    """The name of a campaign that is to be stored."""

    name: str = text("Name of the campaign", needed=True, longest=LONGEST_NAME, what="The name of the campaign")


def asked_settings(choices: PlanChoices) -> tuple[int, ...]:
    """The settings that the question is about; InvalidValue where one is missing."""
    if choices.goal == "order":
        return ()
    if choices.setting_id is None:
        raise InvalidValue("No unit selected. Choose the unit whose rate is to be known.", field="setting_id")
    if choices.goal == "rate":
        return (choices.setting_id,)
    if choices.other_setting_id is None:
        raise InvalidValue("No second unit selected. Choose the unit to compare with.", field="other_setting_id")
    if choices.other_setting_id == choices.setting_id:
        raise InvalidValue(
            "Both units are the same setting of one unit. Choose another unit or setting.", field="other_setting_id"
        )
    return choices.setting_id, choices.other_setting_id
