"""Question, answer and campaign of a plan, as scripts send and get them."""

from datetime import date, datetime
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, JsonValue

from app.services.adding_trials.plans.definitions import NewPlan, PlanChoices
from app.web.api.derived import body
from app.web.api.shapes import FromStore, IdOrNone, OfBench, RequestBody
from app.web.api.trials.shapes import Kind

_EXAMPLE: dict[str, JsonValue] = {
    "name": "Spring round",
    "goal": "rate",
    "setting_id": 1,
    "within_pct": 5,
    "runs_a_day": 3,
    "starts_on": "2026-04-13",
    "seed": 7,
    "who": "Ann",
}


@body(PlanChoices)
class AskedPlan(RequestBody):
    """A question on runs to come: `rate` needs a setting, `difference` two, `order` none."""

    setting_id: IdOrNone = None
    other_setting_id: IdOrNone = None
    room_id: IdOrNone = None


@body(NewPlan)
class AskedCampaign(AskedPlan):
    """A campaign to be stored: its name, and the question whose answer gives its runs."""

    model_config = ConfigDict(extra="forbid", json_schema_extra={"examples": [_EXAMPLE]})

    who: str = ""


class StepShape(FromStore):
    """What further runs give. For a rate the half-width over it, for a difference the power, for the order the expected
    number of pairs in the wrong order. `assured` is reached in nine of ten campaigns, `typical` by the median one.
    """

    trials: int
    empty_runs: int
    assured: float
    typical: float | None


class RunsShape(FromStore):
    """Trials of one setting: usable ones so far, further ones, and minutes of decay of each."""

    setting_id: int
    unit_id: int
    name: str
    so_far: int
    more: int
    minutes: int


class NextRunShape(FromStore):
    """A candidate for the next run, and the figure after it; without a setting an empty-room run."""

    setting_id: int | None
    name: str
    after: float


class RunShape(BaseModel):
    day: int
    place: int
    kind: Kind
    setting_id: int | None
    minutes: int


class PlanAnswer(OfBench):
    """Answer to a question on runs to come. Half-widths and powers are shares, 0.05 for 5 %."""

    goal: str
    status: Literal["known", "runs", "not by runs", "first runs"]
    sentence: str
    assumptions: list[str]
    advice: list[str]
    wanted: float
    now: float
    then: float
    runs: list[RunsShape]
    empty_runs: int
    empty_minutes: int
    steps: list[StepShape]
    next_runs: list[NextRunShape]
    campaign: list[RunShape]
    starts_on: date
    seed: int
    room_id: int
    channel: str
    aerosol: str


class LineShape(FromStore):
    """One run of a stored campaign; `trial_id` is the trial that did it, null while it is open."""

    position: int
    day: int
    place: int
    on: date
    kind: Kind
    unit_id: int | None
    setting_id: int | None
    minutes: int
    trial_id: int | None
    done_on: date | None


class CampaignShape(BaseModel):
    """A stored campaign. `not_counted` are trials that fit a line but are unusable or excluded."""

    id: int
    name: str
    goal: str
    answer: str
    room_id: int
    channel: str
    aerosol: str
    starts_on: date
    runs_a_day: int
    seed: int
    made_by: str
    made_at: datetime
    done: int
    not_counted: list[int]
    lines: list[LineShape]


class CampaignInFull(CampaignShape, OfBench):
    """A campaign as it is stored."""


class CampaignList(OfBench):
    plans: list[CampaignShape]


def answer_shape(
    view: Any, sentences: tuple[str, tuple[str, ...], tuple[str, ...]], bench: dict[str, Any]
) -> PlanAnswer:
    """Model of a PlanView of the service `plans/answer.py`, which is not imported here because it needs scipy.

    sentences : the answer, its assumptions, and advice
    """
    found, choices = view.answer, view.choices
    return PlanAnswer(
        sentence=sentences[0],
        assumptions=list(sentences[1]),
        advice=list(sentences[2]),
        runs=[RunsShape.model_validate(one) for one in found.runs],
        steps=[StepShape.model_validate(one) for one in found.steps],
        next_runs=[NextRunShape.model_validate(one) for one in found.next_runs],
        campaign=[
            RunShape(
                day=run.day,
                place=run.place,
                kind="empty room" if run.setting is None else "unit running",
                setting_id=run.setting,
                minutes=view.minutes_of(run),
            )
            for run in view.campaign
        ],
        **{name: getattr(found, name) for name in ("goal", "status", "wanted", "now", "then")},
        **{name: getattr(found, name) for name in ("empty_runs", "empty_minutes")},
        **{name: getattr(choices, name) for name in ("starts_on", "seed", "room_id", "channel", "aerosol")},
        **bench,
    )


def campaign_values(found: Any) -> dict[str, Any]:
    """Fields of a Campaign of the service `plans/campaigns.py`."""
    own = ("id", "name", "goal", "answer", "room_id", "channel", "aerosol", "starts_on", "runs_a_day", "seed")
    return {
        **{name: getattr(found.plan, name) for name in (*own, "made_by", "made_at")},
        "done": found.done,
        "not_counted": list(found.not_counted),
        "lines": [LineShape.model_validate(line) for line in found.lines],
    }
