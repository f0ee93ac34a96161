"""Context of the ranking page: a sentence, lines of formatted text, and the state of the form."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from markupsafe import Markup

from app.compute.wording.numbers import counted
from app.compute.wording.rounding import rounded_text
from app.reading_files.headers.channels import channel
from app.services.ranking.table import Ranking, Removed
from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.services.snapshot.choices import EVERY, EXTRA_COLUMNS, HIGHEST, MOST_ROWS, QUIETEST, RankingChoices
from app.web.forms.addresses import address
from app.web.forms.typed_form import TypedForm
from app.web.forms.unit_system import METRIC, US, UnitSystem
from app.web.pages.ranking.columns import ALL_USUAL, GroupSwitch, PickedColumns, column_choices, group_switches
from app.web.pages.ranking.heads import columns_of, heads
from app.web.pages.ranking.lines import Axis, axes_of, body_of, ranking_rows
from app.web.pages.ranking.rank_cells import RANK_WORDS, rank_cells, ranked_by
from app.web.pages.ranking.sentences import answer, conditions, further_answer
from app.web.templating.page_context import Choice, Column, PageLinks, Switch

if TYPE_CHECKING:
    from app.services.ranking.rank_intervals import RankView

_MORE_FIELDS = ("search", "kind", "max_price", "max_sound_dba")
MOST_COLUMNS_THAT_FIT = 9  # on a window of 1,280 pixels, with the name and one drawn column


@dataclass(frozen=True, slots=True)
class Filters:
    """Options of the filters with a list."""

    settings: tuple[Choice, ...]
    channels: tuple[Choice, ...]
    aerosols: tuple[Choice, ...]
    rooms: tuple[Choice, ...]
    kinds: tuple[Choice, ...]
    room_rules: tuple[Choice, ...]


@dataclass(frozen=True, slots=True)
class RankingPage:
    """Context of the ranking template."""

    title: str
    answer: str
    further_answer: str
    is_empty: bool
    has_no_rate: bool
    caption: str
    more_in_use: int
    columns: tuple[Column, ...]
    column_choices: tuple[Choice, ...]
    column_kept: tuple[tuple[str, str], ...]  # hidden fields of the column form
    column_groups: tuple[GroupSwitch, ...]
    is_wide: bool
    axes: Mapping[str, Axis | None]
    body: tuple[Markup, ...]
    ranked_by: str
    ranks_address: str  # shows the rank intervals where this page does not; "" where it does
    order_address: str
    selection_kept: tuple[tuple[str, str], ...]  # hidden fields of the selected rows
    shown: str
    removed: tuple[str, ...]
    conditions: tuple[str, ...]
    not_measurable_words: str
    start_level_unit: str
    form: TypedForm
    filters: Filters
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
    rank_view: "RankView | None" = None,
) -> RankingPage:
    """The page of a ranking, in metric or US units; `form` is the query, `keys` the columns.

    snapshot : caches the lines of the table, which follow from the ranked settings alone
    rank_view : rank intervals of all lines, where they are shown
    """
    chosen = ranking.choices
    columns = columns_of(ranking, form, system, picked)
    rows, axes = ranking_rows(ranking, system, picked, columns, snapshot), axes_of(ranking, system)
    return RankingPage(
        title="Ranking",
        answer=answer(ranking, system, rank_view),
        further_answer=further_answer(ranking, system),
        is_empty=ranking.units_on_bench == 0,
        has_no_rate=0 < ranking.total_lines == ranking.without_rate,
        caption=_caption(ranking),
        more_in_use=sum(bool(form.typed(name)) for name in (*_MORE_FIELDS, system.area_field)),
        columns=columns,
        column_choices=column_choices(keys),
        column_kept=_hidden(form, (name for name in form.values if name not in ("column", "offset"))),
        column_groups=group_switches(form, keys),
        is_wide=len(columns) > MOST_COLUMNS_THAT_FIT or any(column.key == "time_to_clear" for column in columns),
        axes={"clean_air_delivery_rate": axes.rate, "time_to_clear": axes.time},
        body=body_of(rows, rank_cells(ranking, rank_view)),
        ranked_by=RANK_WORDS[ranked_by(ranking)],
        ranks_address=_ranks_address(ranking, form, rank_view),
        order_address=_order_address(ranking, form),
        selection_kept=_hidden(form, ("setting", "channel", "aerosol", "room_id", "units")),
        shown=f"{ranking.total_units} of {counted(ranking.units_on_bench, 'unit')}",
        removed=tuple(f"{removed.units} {_why(removed, chosen, system)}" for removed in ranking.removed),
        conditions=conditions(ranking, system),
        not_measurable_words=_not_measurable_text(ranking),
        start_level_unit=channel(chosen.channel).unit or "the unit of measure of the log",
        form=form,
        filters=_filters(ranking),
        area_field=system.area_field,
        area_symbol=system.area_symbol,
        currency=ranking.offered.currency,
        kept=_hidden(form, ("units", "sort", "descending", "fold")),
        switches=(units_switch("/", form, system),),
        clear_address=address("/", {}, units=form.typed("units"), sort=form.typed("sort")),
        links=_links(ranking, form),
        download_query=address("", form.values | {"column": list(keys or ())}).lstrip("?"),
    )


def _hidden(form: TypedForm, names: Iterable[str]) -> tuple[tuple[str, str], ...]:
    """Hidden fields that keep parameters of the URL."""
    return tuple((name, text) for name in names for text in form.values.get(name, ()) if text)


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


def _order_address(ranking: Ranking, form: TypedForm) -> str:
    by = ranked_by(ranking)
    dropped = dict.fromkeys(("sort", "descending", "column", "fold", "ranks", "offset"))
    return address("/ranking/order", form.values, by=None if by == "clean_air_delivery_rate" else by, **dropped)


def _ranks_address(ranking: Ranking, form: TypedForm, view: "RankView | None") -> str:
    if view is not None or not 0 < ranking.total_lines <= MOST_ROWS:
        return ""
    return address("/", form.values, ranks="1")


def _filters(ranking: Ranking) -> Filters:
    chosen = ranking.choices
    return Filters(
        settings=_setting_choices(ranking),
        channels=tuple(Choice(name, channel(name).label, name == chosen.channel) for name in ranking.offered.channels),
        aerosols=tuple(Choice(name, name, name == chosen.aerosol) for name in ranking.offered.aerosols),
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
    )


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
