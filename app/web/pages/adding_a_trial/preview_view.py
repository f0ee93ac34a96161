"""Context of the preview page: columns, skipped rows, first look at the decay, and fields of the trial."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from app.compute.decay.verdict import verdict_of
from app.compute.wording.notes import Note
from app.compute.wording.numbers import MeasuredText, measured_text, not_within, plus_minus, readings_text
from app.compute.wording.rounding import rounded_text
from app.errors import UnreadableLog
from app.reading_files.headers.channels import channel, in_order
from app.reading_files.log_table import LogTable
from app.services.adding_trials.staged_uploads import StagedUpload
from app.services.bench.form_options import TrialFormOptions
from app.services.bench.time_zones import zone_names
from app.web.forms.options import filter_options, plain_choices
from app.web.forms.typed_form import TypedForm
from app.web.pages.adding_a_trial.assumptions import unit_on_hint, what_to_check
from app.web.pages.adding_a_trial.columns import ColumnRow, columns_shown, uses_of_columns
from app.web.pages.adding_a_trial.conditions import ConditionFields, condition_fields
from app.web.pages.adding_a_trial.fields import DAY_ORDERS, MARK_FIELDS
from app.web.pages.adding_a_trial.header_line import RawLine
from app.web.pages.adding_a_trial.log_kind import OtherUse, local_time, other_use_of
from app.web.pages.adding_a_trial.mark_handles import MarkHandle, handles_of, marks_of_decay
from app.web.pages.adding_a_trial.same_time import ADVICE
from app.web.pages.verdict import ShownVerdict, shown_verdict
from app.web.templating.page_context import Choice

if TYPE_CHECKING:
    from app.services.adding_trials.preview import LogPreview

_OF_COLUMN = re.compile(r"(?:header|column|unit)_\d+")
_OF_READING = frozenset(("log", "timezone", "header_line"))  # further fields of the section on how the file was read
# Fields that change the chart; only these are in the URL of the chart.
_DRAWN_READING = (
    *("timezone", "assumed_timezone", "timezone_is_right", "box", "date_order", "header_line"),
    *("profile_id", "kind", "logger_id"),
    *("saturation_level_ug_m3", "response_time_s", "averaging_s", "time_stamp", "on_before_min"),
)
_DRAWN = frozenset((*_DRAWN_READING, *MARK_FIELDS))


@dataclass(frozen=True, slots=True)
class DecayRow:
    """Preview of one channel's decay. `verdict` is `usable`, `check` or `unusable` with reasons and advice."""

    channel: str
    label: str
    unit: str
    total_decay: MeasuredText | None
    clean_air: MeasuredText | None
    start_level: str
    time_to_clear: str
    verdict: ShownVerdict
    notes: Sequence[Note]


@dataclass(frozen=True, slots=True)
class PreviewBeside:
    """What is shown beside the reading: trials of this very file, its first lines, runs in the room at that time."""

    stored_as: Sequence[int]
    lines: Sequence[RawLine]
    header_from: str  # who named the header line
    same_time: Sequence[str]
    room_warnings: Sequence[str]  # from the control chart of the room

    @property
    def same_time_words(self) -> str:
        return " ".join((*self.same_time, ADVICE))


@dataclass(frozen=True, slots=True)
class PreviewPage:
    """`table` is the reading, None if the file could not be read; `refusal` then says why."""

    token: str
    file_name: str
    size_kb: str
    sha256: str
    form: TypedForm
    refusal: UnreadableLog | None
    table: LogTable | None
    shown: str  # digest of the results on the page; confirming stores nothing else
    first_reading: str
    last_reading: str
    readings: str
    other_use: OtherUse | None  # of a log without a channel that decays
    not_counted: int  # rows and cells without a reading, including event rows
    columns: Sequence[ColumnRow]
    columns_words: str
    columns_are_many: bool
    column_pages: Sequence[Choice]
    columns_kept: Sequence[tuple[int, str, str]]
    uses: Sequence[Choice]
    boxes: Sequence[Choice]
    date_orders: Sequence[Choice]
    zones: Sequence[str]
    timezone_found: str
    to_check: Sequence[str]  # what the file leaves open and a person has to check
    held: Sequence[tuple[str, int]]  # label of a channel, number of held values
    decays: Sequence[DecayRow]
    unit_on_hint: str  # where unit on was found, with its uncertainty
    figure_url: str
    conditions: ConditionFields
    units_only: Sequence[Choice]
    profile_id: str
    handles: Sequence[MarkHandle]
    beside: "PreviewBeside"

    @property
    def has_chart(self) -> bool:
        return bool(self.figure_url)

    @property
    def reading_is_open(self) -> bool:
        """Whether somebody has to look at how the file was read; otherwise the section is closed."""
        names = ("columns_like", "box", "profile_name", "header_line")
        if self.table is None or not self.decays or any(self.form.typed(name) for name in names):
            return True
        return any(name in _OF_READING or _OF_COLUMN.fullmatch(name) for name in self.form.errors)

    @property
    def marks_are_open(self) -> bool:
        """Whether a mark other than unit on was typed or has an error; otherwise the section is closed."""
        names = [name for name in MARK_FIELDS if name not in ("unit_on", "clear_level_kind")]
        return any(self.form.typed(name) or self.form.error(name) for name in names)


def preview_page(
    upload: StagedUpload,
    form: TypedForm,
    form_options: TrialFormOptions,
    preview: "LogPreview | None",
    refusal: UnreadableLog | None,
    beside: PreviewBeside,
) -> PreviewPage:
    """The page; `preview` is None if the file could not be read or analysed."""
    table = preview.log.table if preview else None
    columns = table.columns if table else getattr(refusal, "columns", ())
    boxes = table.boxes if table else getattr(refusal, "boxes", ())
    box = form.typed("box") or (table.box if table else "") or ""
    part = columns_shown(columns, form)
    decays = [_decay_row(preview, name) for name in in_order(preview.decays)] if preview else []
    return PreviewPage(
        token=upload.token,
        file_name=upload.file_name,
        size_kb=rounded_text(max(upload.size_bytes / 1000, 0.1), 1 if upload.size_bytes < 10_000 else 0),
        sha256=upload.sha256,
        form=form,
        refusal=refusal,
        table=table,
        shown=preview.digest if preview else "",
        first_reading=local_time(table, 0) if table else "",
        last_reading=local_time(table, -1) if table else "",
        readings=readings_text(len(table.elapsed_s), table.interval_s) if table else "",
        other_use=other_use_of(table) if table and not decays else None,
        not_counted=max(table.rows_skipped + table.cells_skipped, len(table.skipped)) if table else 0,
        columns=part.rows,
        columns_words=part.words,
        columns_are_many=part.are_many,
        column_pages=part.pages,
        columns_kept=part.kept,
        uses=uses_of_columns(),
        boxes=[Choice(name, name, name == box) for name in boxes] if len(boxes) > 1 else (),
        date_orders=plain_choices(("", *DAY_ORDERS), form.typed("date_order"), {"": "detect automatically"}),
        zones=zone_names(),
        timezone_found=table.timezone if table else "",
        to_check=what_to_check(preview, form) if preview else (),
        held=_held(table) if table else (),
        decays=decays,
        unit_on_hint=unit_on_hint(preview, decays[0].channel) if preview and decays else "",
        figure_url=_figure_url(upload.token, form) if decays else "",
        conditions=condition_fields(form, form_options, asks_for_start=table is not None and not table.clock_is_known),
        units_only=filter_options(form_options.units, form.typed("power_unit_id"), "choose one"),
        profile_id=form.typed("profile_id"),
        handles=handles_of(form, marks_of_decay(preview.decays[decays[0].channel])) if preview and decays else (),
        beside=beside,
    )


def _held(table: LogTable) -> list[tuple[str, int]]:
    return [(channel(name).label, held) for name, held in table.held_values.items() if held]


def _decay_row(preview: "LogPreview", name: str) -> DecayRow:
    decay, result = preview.decays[name], preview.results[name]
    rate = decay.fit.decay_rate if decay.fit else None
    flow = [result[f"clean_air_delivery_rate_{part}"] for part in ("m3_per_h", "uncertainty", "low_95", "high_95")]
    clear = decay.time_to_clear
    if clear.reached and clear.value_min is not None:
        time_to_clear = f"{plus_minus(clear.value_min, clear.uncertainty_min)} min"
    else:
        time_to_clear = not_within(clear.not_before_min) if clear.not_before_min is not None else "–"
    return DecayRow(
        channel=decay.channel,
        label=channel(decay.channel).label,
        unit=decay.unit,
        total_decay=measured_text(rate.value, rate.uncertainty, rate.low_95, rate.high_95) if rate else None,
        clean_air=None if flow[0] is None else measured_text(*flow),
        start_level=plus_minus(decay.start_level, decay.start_level_uncertainty),
        time_to_clear=time_to_clear,
        verdict=shown_verdict(verdict_of(preview.notes[name]), channel(decay.channel).label),
        notes=preview.notes[name],
    )


def _figure_url(token: str, form: TypedForm) -> str:
    """URL of the chart: the page's own choices, without irrelevant fields."""
    kept = [
        (name, text)
        for name, texts in form.values.items()
        for text in texts
        if text and (name in _DRAWN or _OF_COLUMN.fullmatch(name))
    ]
    return f"/trials/add/{token}/figure.json?{urlencode(kept)}"
