"""Control charts of a room; a chart is computed again only where its runs or periods changed."""

from app.compute.control_charts.chart import ControlChart, control_chart
from app.services.results.control_charts.key import ChartKey
from app.services.results.control_charts.room_charts import Charted, RoomCharts, natural_chart, room_charts
from app.services.snapshot.bench_snapshot import BenchSnapshot
from app.storage.models.rooms import Room


def room_charts_of(snapshot: BenchSnapshot, room: Room, channel: str = "", aerosol: str = "") -> RoomCharts:
    """As `room_charts`."""
    return room_charts(snapshot.session, room, channel, aerosol, charted=_charted(snapshot))


def natural_chart_of(snapshot: BenchSnapshot, key: ChartKey) -> ControlChart:
    """As `natural_chart`."""
    return natural_chart(snapshot.session, key, charted=_charted(snapshot))


def _charted(snapshot: BenchSnapshot) -> Charted:
    return lambda runs, periods: snapshot.of_values(control_chart, runs, periods)
