"""What the followers of a file and of a topic share: the live run that they feed, and what they say."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from app.command_line.watch.bench_client import BenchClient, Refused, send_readings


class RunFinished(Refused):
    """The run is a trial already."""


@dataclass(slots=True, kw_only=True)
class RunFollower:
    """Sends readings to one live run.

    conditions : body of the request that starts the run
    file_requested : the bench asks for the file; all_sent : nothing waited after the last look
    """

    client: BenchClient
    conditions: dict[str, Any]
    say: Callable[[str], None]
    run_id: int | None = None
    file_requested: bool = False
    all_sent: bool = False
    _last_said: str = ""

    def _start_run(self, source: str, key: str = "") -> dict[str, Any]:
        """Starts the run, or joins an open one of the room that this source may feed."""
        run = self.client.post("/api/runs", self.conditions | {"source": source, "join": True}, key)
        self.run_id = int(run["id"])
        self.say(f"Live run {self.run_id} in {run['room']['name']}: {self.client.url}/live/{self.run_id}")
        return run

    def _post(self, readings: list[dict[str, Any]]) -> dict[str, Any]:
        receipt, words = send_readings(self.client, self.run_id, readings)
        if words:
            self.say(words)
        self._last_said = ""
        return receipt

    def _state(self) -> dict[str, Any]:
        """The run as the bench knows it. Raises RunFinished once it is a trial."""
        state = self.client.get(f"/api/runs/{self.run_id}")
        if state["status"] == "finished":
            raise RunFinished(409, f"Live run {self.run_id} was finished as trial {state['trial_id']}.")
        return state

    def _say_once(self, message: str) -> None:
        if message != self._last_said:
            self.say(message)
        self._last_said = message
