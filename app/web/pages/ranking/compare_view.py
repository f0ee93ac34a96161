"""Context of the comparison page: values with intervals, and each difference as a sentence."""

from dataclasses import dataclass

from app.compute.wording.numbers import counted, listed
from app.compute.wording.rounding import rounded_text
from app.reading_files.headers.channels import channel
from app.services.ranking.assumed_spread import assumed_spread_words
from app.services.ranking.compared_quantities import CLEAN_AIR, CLEARING_TIME, POWER, PRICE, RUNNING_COST, SOUND
from app.services.ranking.compared_setting import ComparedSetting
from app.services.ranking.comparison import FEWEST, MOST, SettingsCompared
from app.services.ranking.table import Ranking
from app.web.forms.addresses import address
from app.web.forms.typed_form import TypedForm
from app.web.forms.unit_system import UnitSystem
from app.web.pages.cells import Cell, Scales, cells_of_line, time_to_clear_unit
from app.web.pages.ranking.compare_cells import with_intervals
from app.web.pages.ranking.compare_figures import PairRow, pair_rows
from app.web.pages.ranking.view import units_switch
from app.web.templating.page_context import Choice, Switch

PATH = "/compare"
_ANSWERING = (CLEAN_AIR, SOUND, RUNNING_COST)
# wording for a significant difference from the first, per column
_MORE = {
    CLEAN_AIR: ("more", "less"),
    CLEARING_TIME: ("faster", "slower"),
    SOUND: ("louder", "quieter"),
    POWER: ("more", "less"),
    PRICE: ("dearer", "cheaper"),
    RUNNING_COST: ("dearer", "cheaper"),
}


@dataclass(frozen=True, slots=True)
class Head:
    """One compared setting as a column header; URLs are "" if there is no link."""

    name: str
    maker: str
    model: str
    setting: str
    unit_id: int
    first_address: str
    without_address: str


@dataclass(frozen=True, slots=True)
class CompareRow:
    """One quantity of all settings. marks : each compared with the first, as text; "" for none."""

    words: str
    unit_symbol: str
    cells: tuple[Cell, ...]
    marks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Against:
    """All findings for one setting against the first, a sentence each."""

    heading: str
    sentences: tuple[str, ...]
    not_compared: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ComparePage:
    """Context of the comparison template; with fewer than two settings it asks for them."""

    title: str
    answer: str
    bench_is_empty: bool
    only_one: bool
    no_room: bool
    heads: tuple[Head, ...]
    rows: tuple[CompareRow, ...]
    against: tuple[Against, ...]
    pair: tuple[PairRow, ...]
    not_cleaning: tuple[str, ...]
    may_make_ozone: tuple[str, ...]
    chart_query: str
    download_query: str
    chart_words: str
    conditions: tuple[str, ...]
    switches: tuple[Switch, ...]
    candidates: tuple[Choice, ...]
    more_candidates: str
    channels: tuple[Choice, ...]
    rooms: tuple[Choice, ...]
    kept: tuple[tuple[str, str], ...]
    form: TypedForm


def compare_page(
    compared: SettingsCompared | None,
    offered: Ranking,
    setting_ids: tuple[int, ...],
    form: TypedForm,
    system: UnitSystem,
) -> ComparePage:
    """The comparison page, or the selection if fewer than two settings are chosen."""
    settings = compared.settings if compared else ()
    return ComparePage(
        title=_title(settings),
        answer=_answer(compared, system) if compared else _what_to_do(setting_ids),
        bench_is_empty=offered.units_on_bench == 0,
        only_one=_only_one(offered),
        no_room=not offered.offered.rooms,
        heads=tuple(_head(setting, number, settings, form) for number, setting in enumerate(settings)),
        rows=_rows(compared, system) if compared else (),
        against=tuple(_against(compared, number) for number in range(len(settings) - 1)) if compared else (),
        pair=pair_rows(compared, system) if compared else (),
        not_cleaning=tuple(setting.name for setting in settings if setting.line.row.measurable == 0),
        may_make_ozone=tuple(dict.fromkeys(_unit(setting) for setting in settings if setting.line.row.makes_ozone)),
        chart_query=_chart_query(compared) if compared else "",
        download_query=address("", form.values, search=None).lstrip("?"),
        chart_words="The latest trial of each, from unit on. Points are readings; lines are the fitted decay with "
        "its 95\u00a0% band.",
        conditions=_conditions(compared) if compared else (),
        switches=(units_switch(PATH, form, system),) if compared else (),
        candidates=_candidates(offered, setting_ids),
        more_candidates=_more_candidates(offered),
        channels=tuple(
            Choice(name, channel(name).label, name == offered.choices.channel) for name in offered.offered.channels
        ),
        rooms=tuple(
            Choice(str(room.id), room.name, room.id == offered.choices.room_id) for room in offered.offered.rooms
        ),
        kept=tuple((name, form.typed(name)) for name in ("units", "first") if form.typed(name)),
        form=form,
    )


def _unit(setting: ComparedSetting) -> str:
    return f"{setting.line.row.maker} {setting.line.row.model}"


def _title(settings: tuple[ComparedSetting, ...]) -> str:
    if not settings:
        return "Compare units"
    if len(settings) == FEWEST:
        return f"{settings[0].name} and {settings[1].name} compared"
    return f"{len(settings)} settings compared"


def _what_to_do(setting_ids: tuple[int, ...]) -> str:
    if len(setting_ids) == 1:
        return f"One setting is selected. Select another, up to {MOST} in total."
    return f"Select {FEWEST} to {MOST} settings below. Each is compared with the first in every recorded quantity."


def _answer(compared: SettingsCompared, system: UnitSystem) -> str:
    """Answer to the title: the sentences for two settings, or who delivers most and its statistical ties."""
    if len(compared.settings) == FEWEST:
        said = [compared.findings[quantity][0] for quantity in _ANSWERING]
        sentences = [finding.words for finding in said if finding.told_apart is not None]
        return " ".join(sentences) or "There are not enough data to compare these two settings."
    ranks = compared.clean_air_ranks
    measured = [row.key for row in ranks.rows if row.place is not None]
    by_id = {setting.setting_id: setting for setting in compared.settings}
    if not measured:
        return "None of these can be told apart from an empty room."
    leader = by_id[measured[0]]
    rate = leader.clean_air
    words = "" if rate is None else system.flow_text(rate.value, rate.uncertainty, *rate.interval_95).with_interval
    sentence = f"{leader.name} delivers the most clean air, {words}\u00a0{system.flow_symbol}"
    alike = [by_id[key].name for key in measured[1:] if ranks.is_tie(leader.setting_id, key)]
    if alike:
        return f"{sentence}, in a statistical tie with {listed(alike)} when all are judged together."
    return f"{sentence}, clearly more than each of the others."


def _head(setting: ComparedSetting, number: int, settings: tuple[ComparedSetting, ...], form: TypedForm) -> Head:
    row = setting.line.row
    others = [s.setting_id for s in settings if s is not setting]
    all_ids = [s.setting_id for s in settings]
    return Head(
        name=setting.name,
        maker=row.maker,
        model=row.model,
        setting=row.setting or "",
        unit_id=row.unit_id,
        first_address=""
        if number == 0
        else address(PATH, form.values, setting_id=all_ids, unit_id=None, first=setting.setting_id),
        without_address=address(PATH, form.values, setting_id=others, unit_id=None, first=None)
        if len(settings) > FEWEST
        else "",
    )


def _rows(compared: SettingsCompared, system: UnitSystem) -> tuple[CompareRow, ...]:
    currency = compared.offered.currency
    scales = Scales(system, compared.room, compared.choices.channel, currency, 0.0, 0.0)
    columns = [with_intervals(setting, cells_of_line(setting.line, scales)) for setting in compared.settings]
    heads = (
        (CLEAN_AIR, "Clean air delivery rate", system.flow_symbol),
        ("air_changes", "Air changes in the test room", "1/h"),
        (CLEARING_TIME, "Time to 95\u00a0% reduction", "min"),
        ("time_to_clear", "Time to clear", time_to_clear_unit(compared.choices.channel)),
        (SOUND, f"Sound at {compared.offered.standard_distance_m:g}\u00a0m", "dB(A)"),
        (POWER, "Power", "W"),
        (PRICE, "Price", currency),
        (RUNNING_COST, "Running cost", f"{currency}/year"),
        ("trials", "Trials", ""),
    )
    return tuple(
        CompareRow(words, unit_symbol, tuple(cells[column] for cells in columns), _marks(compared, column))
        for column, words, unit_symbol in heads
    )


def _marks(compared: SettingsCompared, quantity: str) -> tuple[str, ...]:
    """Empty for the first; for each other "clearly quieter", "not told apart", or empty."""
    marks = [""]
    for finding in compared.findings.get(quantity, ()):
        if finding.told_apart is None:
            marks.append("")
        elif not finding.told_apart:
            marks.append("not told apart")
        else:
            higher = finding.comparison.higher if finding.comparison else None
            marks.append(f"clearly {_MORE[quantity][0 if higher == 'second' else 1]}")
    return tuple(marks) if len(marks) == len(compared.settings) else ("",) * len(compared.settings)


def _against(compared: SettingsCompared, number: int) -> Against:
    other = compared.settings[number + 1]
    findings = [found[number] for found in compared.findings.values()]
    return Against(
        heading=f"{compared.settings[0].name} and {other.name}",
        sentences=tuple(f.words for f in findings if f.told_apart is not None),
        not_compared=tuple(f.words for f in findings if f.told_apart is None),
    )


def _chart_query(compared: SettingsCompared) -> str:
    trials = [setting.tested.latest_trial_id for setting in compared.settings if setting.tested is not None]
    if not trials:
        return ""
    return address("", {}, trial=trials, channel=compared.choices.channel, room_id=compared.choices.room_id).lstrip("?")


def _conditions(compared: SettingsCompared) -> tuple[str, ...]:
    found = []
    if compared.room is not None:
        found.append(f"Test room: {compared.room.name}, {rounded_text(compared.room.room_volume_m3, 1)}\u00a0m³")
    found.append(f"{channel(compared.choices.channel).label} of {compared.choices.aerosol}")
    found.append("intervals are 95\u00a0%; natural decay and room volume are shared and cancel in each difference")
    if assumed := assumed_spread_words(setting.line for setting in compared.settings):
        found.append(assumed)
    return tuple(found)


def _only_one(offered: Ranking) -> bool:
    """Whether the whole bench has a single setting, regardless of filters."""
    return offered.units_on_bench == 1 and offered.total_lines == 1


def _candidates(offered: Ranking, setting_ids: tuple[int, ...]) -> tuple[Choice, ...]:
    lines = [line for line in offered.lines if line.row.setting_id is not None]
    named = [
        Choice(
            str(line.row.setting_id),
            f"{line.row.maker} {line.row.model}, {line.row.setting}",
            line.row.setting_id in setting_ids,
        )
        for line in lines
    ]
    there = {choice.value for choice in named}
    # chosen settings outside the search stay ticked, or a search would drop them
    kept = [Choice(str(setting_id), f"chosen: setting {setting_id}", True) for setting_id in setting_ids]
    return (*(choice for choice in kept if choice.value not in there), *named)


def _more_candidates(offered: Ranking) -> str:
    left = offered.total_lines - len(offered.lines)
    return f"{counted(left, 'more setting')} not shown; use the search to find them." if left > 0 else ""
