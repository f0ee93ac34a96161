"""The ranking of units, with the filters and numbers of the page."""

from datetime import date
from typing import Annotated, Any, Literal, cast

from fastapi import Query
from pydantic import BaseModel, ConfigDict, FiniteFloat, model_validator

from app.compute.clean_air.conversions import CUBIC_FEET_PER_MINUTE_PER_M3_PER_H, M2_PER_SQUARE_FOOT
from app.compute.clean_air.room_need import RULE_CEILING_M
from app.compute.statistics.measured import Measured
from app.compute.wording.notes import Severity
from app.errors import InvalidValue
from app.reading_files.headers.channels import channel
from app.services.ranking.extra_columns import ExtraFacts, extra_facts
from app.services.ranking.table import RankedSetting, Ranking, rank_units
from app.services.snapshot.choices import HIGHEST, RankingChoices, SortKey
from app.web.api.ranking.extra_shapes import ExtraShape, RoomShiftShape, extra_shape, room_shift_shape
from app.web.api.shapes import IdOrNone, MeasuredShape, OfBench, measured_from_parts, of_bench, problem_answers
from app.web.api.trials.shapes import Named
from app.web.api.units.routes import PriceShape
from app.web.dependencies import SessionDep, SnapshotDep
from app.web.routers import api_router

router = api_router("ranking")


class RankingQuery(BaseModel):
    """Query of the ranking page. Empty fields are ignored, so the URL of a page can be used.

    setting : highest, quietest, every, or the name of a setting
    cursor : `next_cursor` of the previous part; `offset`, as in the page, is the same
    units, column : as in the page, but ignored: the response always has m³/h, cfm and every column
    """

    model_config = ConfigDict(extra="forbid")

    setting: str = HIGHEST
    channel: str = ""
    aerosol: str = "smoke"
    room_id: IdOrNone = None
    search: str = ""
    kind: str = ""
    max_price: FiniteFloat | None = None
    max_sound_dba: FiniteFloat | None = None
    room_area_m2: FiniteFloat | None = None
    room_area_ft2: FiniteFloat | None = None
    room_height_m: FiniteFloat = RULE_CEILING_M
    room_rule: Literal["1.55 rule", "air changes"] = "1.55 rule"
    air_changes_per_h: FiniteFloat = 5.0
    hours_per_day: FiniteFloat | None = None
    price_per_kwh: FiniteFloat | None = None
    sort: SortKey = "clean_air_delivery_rate"
    descending: bool | None = None
    units: Literal["metric", "us"] = "metric"
    column: list[str] = []
    limit: int = 100
    cursor: str | None = None
    offset: int = 0

    @model_validator(mode="before")
    @classmethod
    def _without_empty_fields(cls, data: Any) -> Any:
        return {name: value for name, value in data.items() if value != ""} if isinstance(data, dict) else data


class ClearingShape(BaseModel):
    """Median time to clear over the trials [min]; not reached: at least `not_before`, from all runs together.

    `uncertainty` is null: a median of few, possibly censored, trials has an interval (open if null) but no
    standard uncertainty; each trial has its own.
    """

    reached: bool
    value: float | None
    uncertainty: None
    low_95: float | None
    high_95: float | None
    not_before: float | None


class SoundShape(BaseModel):
    """Level at the bench's standard distance. An estimate was converted from another distance; an upper bound means
    that the background was too high.
    """

    level_dba: MeasuredShape
    is_estimate: bool
    is_upper_bound: bool


class CostShape(BaseModel):
    """Cost of a year's use; `at_least` if something is missing, and `missing` says what. `per_year` is null if nothing
    is known.
    """

    currency: str
    per_year: MeasuredShape | None
    at_least: bool
    missing: list[str]


class RankedShape(BaseModel):
    """One setting of one unit. `measurable` false: the rate is not distinguishable from zero, and at most `at_most`.

    `start_level_low` and `start_level_high` are the lowest and highest level at unit on among the trials; each trial
    has its own with its uncertainty. `at_most_m3_per_h` is a one-sided 95 % limit.
    """

    unit_id: int
    maker: str
    model: str
    kind: str
    setting: Named | None
    room: Named | None
    trials: int
    usable_trials: int
    excluded_trials: int
    latest_trial_id: int | None
    clean_air_delivery_rate_m3_per_h: MeasuredShape | None
    clean_air_delivery_rate_cfm: MeasuredShape | None
    measurable: bool | None
    at_most_m3_per_h: float | None
    standard_clearing_time_min: MeasuredShape | None
    time_to_clear_min: ClearingShape | None
    start_level_unit: str
    start_level_low: float | None
    start_level_high: float | None
    sound: SoundShape | None
    power_w: MeasuredShape | None
    price: PriceShape | None
    running_cost: CostShape | None
    further: ExtraShape
    room_shift: RoomShiftShape | None
    worst_severity: Severity | None


class RemovedShape(BaseModel):
    """Number of units removed by one filter."""

    field: str
    units: int
    why: str


class RankingShape(OfBench):
    """The ranking; `channel`, `aerosol` and `room` are the defaults used if none were requested."""

    channel: str
    aerosol: str
    room: Named | None
    total_lines: int
    total_units: int
    units_on_bench: int
    removed: list[RemovedShape]
    ranking: list[RankedShape]
    next_cursor: str | None


@router.get("/ranking", responses=problem_answers())
def ranking(session: SessionDep, snapshot: SnapshotDep, query: Annotated[RankingQuery, Query()]) -> RankingShape:
    """Settings in order: rates distinguishable from zero, then the others, then those without a rate."""
    ranked = rank_units(snapshot, ranking_choices_of(query))
    after = ranked.choices.offset + len(ranked.lines)
    room = ranked.room
    return RankingShape(
        channel=ranked.choices.channel,
        aerosol=ranked.choices.aerosol,
        room=Named(id=room.id, name=room.name) if room else None,
        total_lines=ranked.total_lines,
        total_units=ranked.total_units,
        units_on_bench=ranked.units_on_bench,
        removed=[RemovedShape(field=cut.field, units=cut.units, why=cut.why) for cut in ranked.removed],
        ranking=[
            _ranked(line, ranked, facts)
            for line, facts in zip(ranked.lines, extra_facts(snapshot, ranked.lines), strict=True)
        ],
        next_cursor=str(after) if after < ranked.total_lines else None,
        **of_bench(session),
    )


def ranking_choices_of(query: RankingQuery) -> RankingChoices:
    asked = query.model_dump(exclude={"room_area_ft2", "units", "column", "cursor", "by"})
    if query.room_area_m2 is None and query.room_area_ft2 is not None:
        asked["room_area_m2"] = query.room_area_ft2 * M2_PER_SQUARE_FOOT
    if query.cursor is not None:
        if not query.cursor.isdecimal() or len(query.cursor) > 9:
            raise InvalidValue(
                f"The cursor is {query.cursor[:40]!r}; use the next_cursor of an earlier response.", field="cursor"
            )
        asked["offset"] = int(query.cursor)
    return RankingChoices(**asked)


def _ranked(line: RankedSetting, ranked: Ranking, facts: ExtraFacts) -> RankedShape:
    row = line.row
    rate = measured_from_parts(
        row.clean_air_delivery_rate_m3_per_h,
        row.clean_air_delivery_rate_uncertainty,
        row.clean_air_delivery_rate_low_95,
        row.clean_air_delivery_rate_high_95,
    )
    room = ranked.room
    return RankedShape(
        unit_id=row.unit_id,
        maker=row.maker,
        model=row.model,
        kind=row.kind,
        setting=Named(id=row.setting_id, name=row.setting) if row.setting_id is not None and row.setting else None,
        room=Named(id=room.id, name=room.name) if room and row.summary_id is not None else None,
        trials=row.trials or 0,
        usable_trials=row.usable_trials or 0,
        excluded_trials=row.excluded_trials or 0,
        latest_trial_id=row.latest_trial_id,
        clean_air_delivery_rate_m3_per_h=rate,
        clean_air_delivery_rate_cfm=rate.times(CUBIC_FEET_PER_MINUTE_PER_M3_PER_H) if rate else None,
        measurable=None if row.measurable is None else bool(row.measurable),
        at_most_m3_per_h=row.at_most_m3_per_h,
        standard_clearing_time_min=_clearing_time(line),
        time_to_clear_min=_time_to_clear(line),
        start_level_unit=channel(ranked.choices.channel).unit,
        start_level_low=row.start_level_low,
        start_level_high=row.start_level_high,
        sound=_sound(line),
        power_w=_power(line),
        price=_price(line),
        running_cost=_cost(line),
        further=extra_shape(facts),
        room_shift=room_shift_shape(line.shift),
        worst_severity=cast(Severity | None, row.worst_severity),  # the model checks it
    )


def _clearing_time(line: RankedSetting) -> MeasuredShape | None:
    """The time has the relative uncertainty of its decay rate, to first order."""
    row = line.row
    time, rate, uncertainty = row.standard_clearing_time_min, row.total_decay_per_h, row.total_decay_uncertainty_per_h
    if time is None or not rate or uncertainty is None:
        return None
    return measured_from_parts(
        time,
        time * uncertainty / rate,
        row.standard_clearing_time_low_95_min,
        row.standard_clearing_time_high_95_min,
    )


def _time_to_clear(line: RankedSetting) -> ClearingShape | None:
    row = line.row
    if row.time_to_clear_min is None and row.not_cleared_before_min is None:
        return None
    return ClearingShape(
        reached=row.time_to_clear_min is not None,
        value=row.time_to_clear_min,
        uncertainty=None,
        low_95=row.time_to_clear_low_min,
        high_95=row.time_to_clear_high_min,
        not_before=row.not_cleared_before_min,
    )


def _sound(line: RankedSetting) -> SoundShape | None:
    sound = line.sound
    if sound is None or sound.level_dba is None:
        return None
    level = Measured(sound.level_dba, sound.uncertainty_db, sound.degrees_of_freedom)
    return SoundShape(
        level_dba=MeasuredShape.of(level), is_estimate=sound.is_estimate, is_upper_bound=sound.is_upper_bound
    )


def _power(line: RankedSetting) -> MeasuredShape | None:
    value, uncertainty = line.row.power_w, line.row.power_uncertainty_w
    return None if value is None or uncertainty is None else MeasuredShape.normal(value, uncertainty)


def _price(line: RankedSetting) -> PriceShape | None:
    row = line.row
    if row.price is None or row.price_currency is None or row.price_on is None:
        return None
    return PriceShape.of(
        row, amount=row.price, currency=row.price_currency, seen_on=date.fromisoformat(row.price_on), source=""
    )


def _cost(line: RankedSetting) -> CostShape | None:
    cost = line.cost
    if cost is None:
        return None
    low, high = cost.interval_95
    return CostShape(
        currency=cost.currency,
        per_year=None
        if cost.at_least and cost.total_per_year == 0
        else MeasuredShape(value=cost.total_per_year, uncertainty=cost.uncertainty_per_year, low_95=low, high_95=high),
        at_least=cost.at_least,
        missing=list(cost.missing),
    )
