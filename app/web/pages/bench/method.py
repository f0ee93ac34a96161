"""Page of the method: what is computed, from what, and its limits."""

from dataclasses import dataclass

from starlette.responses import Response

from app.compute.method import METHOD_DESCRIPTION, METHOD_NAME, METHOD_VERSION
from app.compute.study_figures import RANK_COVERAGE
from app.services.bench.choices import bench_choices
from app.services.bench.definitions import BenchChoices
from app.services.store.clear_level import CLEAR_LEVEL_WORDS
from app.web.dependencies import RenderDep, SessionDep
from app.web.routers import page_router

router = page_router()


@dataclass(frozen=True, slots=True)
class MethodPage:
    """`choices` are the bench's defaults for trials; `steps` those of the analysis."""

    name: str
    version: str
    choices: BenchChoices
    clear_level: str
    steps: tuple[str, ...] = METHOD_DESCRIPTION
    rank_coverage: str = RANK_COVERAGE


@router.get("/method")
def method(session: SessionDep, render: RenderDep) -> Response:
    choices = bench_choices(session)
    words = CLEAR_LEVEL_WORDS[choices.clear_level_kind]
    return render(
        "pages/bench/method.html",
        MethodPage(METHOD_NAME, METHOD_VERSION, choices, f"{choices.clear_level_value:g}: {words}"),
    )
