"""What a control chart of a room is of."""

from typing import NamedTuple


class ChartKey(NamedTuple):
    """What a chart is of: results of other channels and aerosols are never mixed."""

    room_id: int
    channel: str
    aerosol: str
