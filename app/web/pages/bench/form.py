"""Form of the bench-wide choices."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass

from sqlalchemy.orm import Session
from starlette.responses import RedirectResponse, Response

from app.reading_files.headers.channels import CHANNELS, channel
from app.services.bench.choices import SUBJECT, bench_choices, change_bench
from app.services.bench.definitions import BenchChoices
from app.services.bench.time_zones import zone_names
from app.services.history.change_history import DescribedChange, change_history
from app.services.units.cursor_lists import list_tariffs
from app.web.dependencies import RenderDep, SessionDep
from app.web.forms.typed_form import TypedForm, TypedFormDep, empty_form
from app.web.progress_board import KEY_FIELD, ProgressBoardDep
from app.web.routers import page_router
from app.web.templating.page_context import Choice

router = page_router()


@dataclass(frozen=True, slots=True)
class BenchForm:
    form: TypedForm
    tariffs: Sequence[Choice]
    channels: Sequence[Choice]
    zones: Sequence[str]
    changes: Sequence[DescribedChange]


@router.get("/bench")
def bench_to_change(session: SessionDep, render: RenderDep) -> Response:
    return render("pages/bench/form.html", _page(session, empty_form(**asdict(bench_choices(session)))))


@router.post("/bench")
def bench_changed(session: SessionDep, render: RenderDep, form: TypedFormDep, board: ProgressBoardDep) -> Response:
    new = form.entry(BenchChoices, tariff_id=form.whole_number("tariff_id", "The tariff"))
    if new is not None and form.is_good:
        with form.attempt(session), board.watched(form.text(KEY_FIELD)) as on_progress:
            change_bench(session, new, who=form.text("who"), why=form.text("why"), on_progress=on_progress)
            return RedirectResponse("/bench", 303)
    return render("pages/bench/form.html", _page(session, form), status_code=422)


def _page(session: Session, form: TypedForm) -> BenchForm:
    tariff = form.typed("tariff_id")
    return BenchForm(
        form=form,
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
        changes=change_history(session, SUBJECT, 1),
    )


def _channels(chosen: str) -> list[Choice]:
    """The particle channels by label, plus the chosen one if it is another."""
    names = [name for name, about in CHANNELS.items() if about.is_particle]
    return [Choice(name, channel(name).label, name == chosen) for name in dict.fromkeys((*names, chosen)) if name]
