"""Form of the bench-wide choices."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass

from fastapi import APIRouter
from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from app.figures.charts.house_style import BUNDLED_FONTS
from app.reading_files.headers.channels import CHANNELS, channel
from app.services.bench.choices import SOUND_CORRECTION_RULES, SUBJECT, BenchChoices, bench_choices, change_bench
from app.services.history.change_history import DescribedChange, change_history
from app.services.logs.trial_fields import CLEAR_LEVEL_KINDS
from app.services.units.lists import list_tariffs
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.typed_form import TypedForm, TypedFormDep, empty_form
from app.web.pages.bench.zones import zone_names
from app.web.progress_board import KEY_FIELD, ProgressBoardDep
from app.web.templating.page_context import Choice

router = APIRouter()

CLEAR_LEVEL_WORDS = {
    "absolute": "a level in µg/m³",
    "share_of_start": "a fraction of the level at unit on",
    "background": "µg/m³ above the background before the smoke",
}


@dataclass(frozen=True, slots=True)
class BenchForm:
    form: TypedForm
    clear_level_kinds: Sequence[Choice]
    sound_rules: Sequence[Choice]
    tariffs: Sequence[Choice]
    channels: Sequence[Choice]
    zones: Sequence[str]
    fonts: Sequence[str]
    changes: Sequence[DescribedChange]


@router.get("/bench")
def bench_to_change(session: SessionDep, render: RenderDep) -> Response:
    return render("pages/bench/form.html", _page(session, empty_form(**asdict(bench_choices(session)))))


@router.post("/bench")
def bench_changed(session: SessionDep, render: RenderDep, form: TypedFormDep, board: ProgressBoardDep) -> Response:
    before = bench_choices(session)
    new = BenchChoices(
        name=form.needed_text("name", "The name of the bench"),
        timezone=form.needed_text("timezone", "The time zone"),
        currency=form.needed_text("currency", "The currency"),
        clear_level_kind=form.typed("clear_level_kind", before.clear_level_kind),
        clear_level_value=_needed(form, "clear_level_value", "The clear level"),
        standard_distance_m=_needed(form, "standard_distance_m", "The standard distance"),
        sound_correction_rule=form.typed("sound_correction_rule", before.sound_correction_rule),
        natural_decay_stale_after_days=int(
            _needed(form, "natural_decay_stale_after_days", "The maximum age of an empty-room run")
        ),
        hours_per_day=_needed(form, "hours_per_day", "The hours per day"),
        days_per_year=_needed(form, "days_per_year", "The days per year"),
        tariff_id=form.whole_number("tariff_id", "The tariff"),
        main_channel=form.needed_text("main_channel", "The main channel"),
        publication=form.text("publication"),
        publication_font=form.text("publication_font"),
        publication_ink=form.text("publication_ink"),
        publication_accent=form.text("publication_accent"),
    )
    if form.is_good:
        with form.attempt(session), board.watched(form.text(KEY_FIELD)) as on_progress:
            change_bench(session, new, who=form.text("who"), why=form.text("why"), on_progress=on_progress)
            return RedirectResponse("/bench", 303)
    return render("pages/bench/form.html", _page(session, form), status_code=422)


def _needed(form: TypedForm, name: str, what: str) -> float:
    value = form.number(name, what)
    if value is None:
        form.add_error(name, f"{what} is empty. Enter a number.")
        return 1.0
    return value


def _page(session: Session, form: TypedForm) -> BenchForm:
    tariff = form.typed("tariff_id")
    return BenchForm(
        form=form,
        clear_level_kinds=[
            Choice(kind, CLEAR_LEVEL_WORDS[kind], kind == form.typed("clear_level_kind")) for kind in CLEAR_LEVEL_KINDS
        ],
        sound_rules=[
            Choice(rule, rule, rule == form.typed("sound_correction_rule")) for rule in SOUND_CORRECTION_RULES
        ],
        tariffs=[
            Choice("", "none", not tariff),
            *(
                Choice(
                    str(row.id),
                    f"{row.region}, {row.price_per_kwh:g} {row.currency} per kWh from {row.valid_from}",
                    str(row.id) == tariff,
                )
                for row in list_tariffs(session).rows
            ),
        ],
        channels=_channels(form.typed("main_channel")),
        zones=zone_names(),
        fonts=BUNDLED_FONTS,
        changes=change_history(session, SUBJECT, 1),
    )


def _channels(chosen: str) -> list[Choice]:
    """The particle channels by label, plus the chosen one if it is another."""
    names = [name for name, about in CHANNELS.items() if about.is_particle]
    return [Choice(name, channel(name).label, name == chosen) for name in dict.fromkeys((*names, chosen)) if name]
