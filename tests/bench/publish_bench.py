"""Publishing a bench against bare drawings by the library: `python -m tests.bench.publish_bench [UNITS]`.

The plain baseline draws as many SVGs as the site holds, each a bare curve with its axes and names, by matplotlib alone.
All times are processor time of one process, so that a busy machine moves the ratios less.
"""

import sys
import tempfile
import time
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

import numpy as np

from app.services.store.open import open_store
from app.settings import Settings
from app.web.published.publish import publish
from tests.bench.scale.large_bench import make_large_store

UNITS, TRIALS_A_UNIT, READINGS = 20, 2, 60
AIM, AIM_UNCHANGED = 3.0, 0.5


@dataclass(frozen=True, slots=True)
class PublishTimes:
    """Processor seconds: the first writing, a second one of the same bench, and the bare drawings."""

    units: int
    pictures: int
    first_s: float
    second_s: float
    bare_s: float
    rewritten: int

    @property
    def per_unit(self) -> float:
        """The first writing of a unit over the bare drawings of a unit."""
        return self.first_s / self.bare_s

    @property
    def unchanged(self) -> float:
        """A second writing over the first."""
        return self.second_s / self.first_s


def publish_times(units: int = UNITS) -> PublishTimes:
    with tempfile.TemporaryDirectory() as folder:
        path, site = Path(folder) / "bench.sqlite", Path(folder) / "site"
        make_large_store(path, units, units * TRIALS_A_UNIT, READINGS)
        engine = open_store(Settings(Path(folder)))
        _bare_drawings(2)  # the library's own caches are filled for both
        began = time.process_time()
        publish(engine, site, workers=1)
        first = time.process_time()
        again = publish(engine, site, workers=1)
        second = time.process_time()
        engine.dispose()
        pictures = len(list(site.glob("charts/*.svg")))
        started = time.process_time()
        _bare_drawings(pictures)
        bare = time.process_time() - started
    return PublishTimes(units, pictures, first - began, second - first, bare, again.folder.written)


def _bare_drawings(number: int) -> None:
    from matplotlib.figure import Figure

    minutes = np.linspace(0, 60, 120)
    for _ in range(number):
        figure = Figure(figsize=(10, 6.2))
        axes = figure.add_subplot()
        axes.plot(minutes, 300 * np.exp(-minutes / 10), label="fit")
        axes.plot(minutes[::2], 300 * np.exp(-minutes[::2] / 10), "o", markersize=2)
        axes.set_title("How fast does the smoke go?")
        axes.set_xlabel("Time from unit on [min]")
        axes.set_ylabel("PM2.5 [µg/m³]")
        axes.legend()
        figure.savefig(BytesIO(), format="svg")


def main() -> None:
    times = publish_times(int(sys.argv[1]) if len(sys.argv) > 1 else UNITS)
    print(f"{times.units} units, {times.pictures} pictures: {times.first_s / times.units:.2f} s of one core a unit")
    print(f"first writing / bare drawings: {times.per_unit:.2f} (at most {AIM:g})")
    print(
        f"second writing / first: {times.unchanged:.2f} (at most {AIM_UNCHANGED:g}); {times.rewritten} files rewritten"
    )


if __name__ == "__main__":
    main()
