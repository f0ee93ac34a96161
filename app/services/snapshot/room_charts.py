"""Control charts of a room; a chart is computed again only where its runs or periods changed."""

from collections.abc import Callable

from sqlalchemy.orm import Session

from app.compute.control_charts.chart import ControlChart, control_chart
from app.compute.control_charts.limits import ChartRun
from app.compute.control_charts.reference import ReferencePeriod
from app.services.results.control_charts.room_charts import K, Source, T
from app.services.snapshot.bench_snapshot import BenchSnapshot


class SnapshotSource(Source):
    def __init__(self, snapshot: BenchSnapshot) -> None:
        super().__init__(snapshot.session)
        self._snapshot = snapshot

    def read(self, function: Callable[[Session, K], T], asked: K) -> T:
        return self._snapshot.view(_read, (function, asked))

    def chart(self, runs: tuple[ChartRun, ...], periods: tuple[ReferencePeriod, ...]) -> ControlChart:
        return self._snapshot.of_values(control_chart, runs, periods)


def _read(snapshot: BenchSnapshot, asked: tuple[Callable[[Session, K], T], K]) -> T:
    function, key = asked
    return function(snapshot.session, key)
