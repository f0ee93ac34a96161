"""A channel that several tests of services and pages analyse by the same terms is fitted once in a process.

What comes of an analysis cannot be changed and depends on nothing but what is given. That it comes out the same again
is tested where nothing is remembered: in `tests/compute/`, `tests/seed_demo/` and `tests/services/results/`.
"""

import sys
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

_CHANNELS = 2_000
_WHERE = ("tests/services/", "tests/web/", "tests/command_line/")
_BUT = ("tests/services/results/",)
_now = [False]


def remember_in(nodeid: str) -> None:
    """Whether decays are remembered from here on, which depends on the test that begins."""
    _now[0] = nodeid.startswith(_WHERE) and not nodeid.startswith(_BUT)


def remember_decays() -> None:
    """From here on, for the tests named above; without effect where no test that is run analyses anything."""
    module = sys.modules.get("app.services.results.analyse_channels")
    if module is None:
        return
    analyse = module.analyse_decay

    @lru_cache(_CHANNELS)
    def analysed(elapsed_s: bytes, levels: bytes, terms: tuple[tuple[str, Any], ...]) -> Any:
        return analyse(np.frombuffer(elapsed_s), np.frombuffer(levels), **dict(terms))

    def analyse_once(elapsed_s: ArrayLike, levels: ArrayLike, **terms: Any) -> Any:
        if not _now[0]:
            return analyse(elapsed_s, levels, **terms)
        readings = [np.asarray(each, dtype=np.float64).tobytes() for each in (elapsed_s, levels)]
        return analysed(*readings, tuple(sorted(terms.items())))

    module.analyse_decay = analyse_once  # type: ignore[attr-defined]
