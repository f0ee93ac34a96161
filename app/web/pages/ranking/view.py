"""Context of the ranking page: a sentence, lines of formatted text, and the state of the form."""

from dataclasses import dataclass

from app.compute.wording.numbers import counted, measured_text
from app.compute.wording.rounding import rounded_text
from app.reading_files.headers.channels import channel
from app.services.ranking.table import RankedSetting, Ranking, Removed
from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.services.snapshot.choices import EVERY, EXTRA_COLUMNS, HIGHEST, QUIETEST, RankingChoices
from app.web.forms.addresses import address
from app.web.forms.typed_form import TypedForm
from app.web.forms.unit_system import METRIC, US, UnitSystem
from app.web.pages.cells import rate_text
from app.web.pages.ranking.columns import ALL_USUAL, PickedColumns, column_choices
from app.web.pages.ranking.heads import columns_of, heads
from app.web.pages.ranking.lines import RankingLine, ranking_lines
from app.web.templating.page_context import Choice, Column, PageLinks, Switch

_MORE_FIELDS = ("kind", "max_price", "max_sound_dba")


@dataclass(frozen=True, slots=True)
class RankingPage:
    """Context of the ranking template."""

    title: str
    answer: str
    is_empty: bool
    has_no_rate: bool
    caption: str
    more_is_open: bool
    columns: tuple[Column, ...]
    column_choices: tuple[Choice, ...]
    column_kept: tuple[tuple[str, str], ...]  # hidden fields of the column form
    lines: tuple[RankingLine, ...]
    shown: str
    removed: tuple[str, ...]
    conditions: tuple[str, ...]
    not_measurable_words: str
    start_level_unit: str
    form: TypedForm
    settings: tuple[Choice, ...]
    channels: tuple[Choice, ...]
    rooms: tuple[Choice, ...]
    kinds: tuple[Choice, ...]
    room_rules: tuple[Choice, ...]
    area_field: str
    area_symbol: str
    currency: str
    kept: tuple[tuple[str, str], ...]  # hidden fields of the form
    switches: tuple[Switch, ...]
    clear_address: str
    links: PageLinks
    download_query: str


def ranking_page(
    ranking: Ranking,
    form: TypedForm,
    system: UnitSystem,
    picked: PickedColumns = ALL_USUAL,
    keys: tuple[str, ...] | None = None,
    snapshot: BenchSnapshot | None = None,
) -> RankingPage:
    """The page of a ranking, in metric or US units; `form` is the query, `keys` the columns.

    snapshot : caches the lines of the table, which follow from the ranked settings alone
    """
    chosen = ranking.choices
    columns = columns_of(ranking, form, system, picked)
    return RankingPage(
        title="How fast does each unit clear the room?",
        answer=answer(ranking, system),
        is_empty=ranking.units_on_bench == 0,
        has_no_rate=0 < ranking.total_lines == ranking.without_rate,
        caption=_caption(ranking),
        more_is_open=any(form.typed(name) for name in (*_MORE_FIELDS, system.area_field)),
        columns=columns,
        column_choices=column_choices(keys),
        column_kept=tuple(
            (name, text) for name, texts in form.values.items() if name not in ("column", "offset") for text in texts
        ),
        lines=ranking_lines(ranking, system, picked, columns, snapshot),
        shown=f"{ranking.total_units} of {counted(ranking.units_on_bench, 'unit')}",
        removed=tuple(f"{removed.units} {_why(removed, chosen, system)}" for removed in ranking.removed),
        conditions=conditions(ranking, system),
        not_measurable_words=_not_measurable_text(ranking),
        start_level_unit=channel(chosen.channel).unit or "the unit of measure of the log",
        form=form,
        settings=_setting_choices(ranking),
        channels=tuple(Choice(name, channel(name).label, name == chosen.channel) for name in ranking.offered.channels),
        rooms=tuple(
            Choice(str(room.id), f"{room.name}, {rounded_text(room.room_volume_m3, 1)} m³", room.id == chosen.room_id)
            for room in ranking.offered.rooms
        ),
        kinds=(
            Choice("", "all types", not chosen.kind),
            *(Choice(kind, kind, kind == chosen.kind) for kind in ranking.kinds),
        ),
        room_rules=tuple(
            Choice(rule, words, rule == chosen.room_rule)
            for rule, words in (("1.55 rule", "1.55 rule (8 ft ceiling)"), ("air changes", "5 air changes per hour"))
        ),
        area_field=system.area_field,
        area_symbol=system.area_symbol,
        currency=ranking.offered.currency,
        kept=tuple((name, form.typed(name)) for name in ("units", "sort", "descending") if form.typed(name)),
        switches=(units_switch("/", form, system),),
        clear_address=address("/", {}, units=form.typed("units"), sort=form.typed("sort")),
        links=_links(ranking, form),
        download_query=address("", form.values | {"column": list(keys or ())}).lstrip("?"),
    )


def _why(removed: Removed, chosen: RankingChoices, system: UnitSystem) -> str:
    """Why a filter removed units, with the reader's room in the chosen units of measure."""
    area = chosen.room_area_m2
    if system is METRIC or area is None:
        return removed.why
    in_system = f"{area * system.area_factor:.4g}\u00a0{system.area_symbol}"
    return removed.why.replace(f"{area:g}\u00a0m²", in_system)


def _caption(ranking: Ranking) -> str:
    known = {key: head for key, head, _, _ in heads(ranking, METRIC)} | EXTRA_COLUMNS
    words = known.get(ranking.choices.sort, "Kind")
    direction = "largest" if ranking.choices.larger_first else "smallest"
    if ranking.choices.sort in ("name", "kind"):
        direction = "Z" if ranking.choices.larger_first else "A"
    order = f"Units by {words[:1].lower()}{words[1:]}, {direction} first."
    return f"{order} Intervals are 95\u00a0%; ± is one standard uncertainty."


def units_switch(path: str, form: TypedForm, system: UnitSystem) -> Switch:
    """Switch between metric and US units; the area of the other system is dropped, because its number would mean
    something else.
    """
    return Switch(
        "Unit of measure",
        tuple(
            (
                f"{one.flow_symbol}, {one.area_symbol}",
                address(path, form.values, units=None if one is METRIC else one.key, **{_other(one).area_field: None}),
                one is system,
            )
            for one in (METRIC, US)
        ),
    )


def _other(system: UnitSystem) -> UnitSystem:
    return US if system is METRIC else METRIC


def answer(ranking: Ranking, system: UnitSystem) -> str:
    """One sentence that answers the title, with numbers of the lines shown."""
    leader, last = ranking.leader, ranking.last
    if leader is None:
        if ranking.total_lines == 0:
            return "No units match these filters. Relax one of them."
        if ranking.without_rate == ranking.total_lines:
            return (
                "No unit has a clean air delivery rate yet: it needs a usable trial of the unit and an empty-room run "
                "of the same room."
            )
        return "None of these units can be told apart from an empty room."
    sentence = f"{name_of(leader)} clears the room fastest"
    if leader.row.standard_clearing_time_min is not None:
        time = measured_text(
            leader.row.standard_clearing_time_min,
            None,
            leader.row.standard_clearing_time_low_95_min,
            leader.row.standard_clearing_time_high_95_min,
        )
        sentence += f": 95\u00a0% reduction in {time.value}\u00a0min ({time.interval})"
    rate = rate_text(leader, system)
    sentence += f", with a clean air delivery rate of {rate.value}\u00a0{system.flow_symbol} ({rate.interval})."
    if last is not None and last is not leader:
        slowest = rate_text(last, system)
        sentence += (
            f" The weakest unit with measurable cleaning is {name_of(last)} with "
            f"{slowest.value}\u00a0{system.flow_symbol} ({slowest.interval})."
        )
    if ranking.not_measurable:
        verb = "cannot be told apart from an empty room."
        sentence += f" {counted(ranking.not_measurable, 'other')} {verb}"
    return sentence


def name_of(line: RankedSetting) -> str:
    return f"{line.row.maker} {line.row.model}"


def conditions(ranking: Ranking, system: UnitSystem) -> tuple[str, ...]:
    """Conditions of the numbers, a phrase each."""
    chosen, offered = ranking.choices, ranking.offered
    found = []
    if ranking.room is not None:
        found.append(f"Test room: {ranking.room.name}, {rounded_text(ranking.room.room_volume_m3, 1)}\u00a0m³")
    found.append(f"{channel(chosen.channel).label} of {chosen.aerosol}")
    found.append(_setting_text(chosen))
    if offered.price_per_kwh is not None:
        region = f" ({offered.tariff_region})" if offered.tariff_region else ""
        found.append(
            f"electricity at {rounded_text(offered.price_per_kwh, 3)}\u00a0{offered.currency}/kWh{region}, "
            f"{offered.hours_per_day:g}\u00a0h per day"
        )
    found.append(f"sound at {offered.standard_distance_m:g}\u00a0m, {offered.sound_correction_rule}")
    if ranking.needed_rate_m3_per_h is not None:
        needed = rounded_text(ranking.needed_rate_m3_per_h * system.flow_factor, 0)
        found.append(f"the room needs {needed}\u00a0{system.flow_symbol} by the {chosen.room_rule}")
    return tuple(found)


def _setting_text(chosen: RankingChoices) -> str:
    words = {
        HIGHEST: "each unit at its highest setting",
        QUIETEST: "each unit at its quietest setting",
        EVERY: "every setting",
    }
    return words.get(chosen.setting, f"each unit at the setting “{chosen.setting}”")


def _setting_choices(ranking: Ranking) -> tuple[Choice, ...]:
    chosen = ranking.choices.setting
    fixed = ((HIGHEST, "highest of each"), (QUIETEST, "quietest of each"), (EVERY, "every setting"))
    return tuple(Choice(value, words, value == chosen) for value, words in fixed) + tuple(
        Choice(name, f"“{name}”", name.casefold() == chosen.casefold())
        for name in ranking.offered.setting_names
        if name not in (HIGHEST, QUIETEST, EVERY)
    )


def _not_measurable_text(ranking: Ranking) -> str:
    if not ranking.not_measurable:
        return ""
    return (
        f"{counted(ranking.not_measurable, 'row')} marked “at most” cannot be told apart from an empty room. They "
        "come last, sorted by name, because ranking them would rank noise."
    )


def _links(ranking: Ranking, form: TypedForm) -> PageLinks:
    first, limit = ranking.choices.offset, ranking.choices.limit
    after = first + len(ranking.lines)
    return PageLinks(
        first=first + 1 if ranking.lines else 0,
        last=after,
        total=ranking.total_lines,
        previous_address=address("/", form.values, offset=max(0, first - limit) or None) if first else "",
        next_address=address("/", form.values, offset=after) if after < ranking.total_lines else "",
    )
