"""Follows a topic and sends its readings to a live run, by the API that posted readings use."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from app.command_line.watch.bench_client import Refused, Unreachable
from app.command_line.watch.follow import LOT
from app.command_line.watch.mqtt.address import Topic
from app.command_line.watch.mqtt.payload import PayloadReader
from app.command_line.watch.mqtt.subscription import Access, Delivery, Subscription
from app.command_line.watch.run_follower import RunFinished, RunFollower
from app.errors import InvalidValue

_INVALID = 422


@dataclass(slots=True)
class _Waiting:
    delivery: Delivery
    readings: list[dict[str, Any]]


@dataclass(slots=True, kw_only=True)
class TopicFollower(RunFollower):
    """Sends the readings of a topic to one live run; there is no file that the bench could ask for."""

    topic: Topic
    access: Access
    columns: Mapping[str, str]
    _subscription: Subscription | None = None
    _waiting: list[_Waiting] = field(default_factory=list)
    _reader: PayloadReader | None = None
    _named: set[str] = field(default_factory=set)
    _is_over: bool = False

    def step(self) -> int:
        """One look at the topic; the number of readings that were stored. Raises Refused."""
        try:
            if self.run_id is None:
                self._start_run("posted")
            if self._subscription is None:
                self._subscription = Subscription(self.topic, self._session(), self.access, self.say)
            for delivery in self._subscription.arrived():
                self._read(delivery)
            stored = self._send_all()
            if not stored:
                self._state()
        except RunFinished:
            self._is_over = True
            raise
        except Unreachable as problem:
            self._say_once(f"{problem.message} The readings wait at the broker, and are sent once it answers.")
            self.all_sent = False
            return 0
        self.all_sent = True
        return stored

    def finish(self) -> int:
        """Finishes the run with the readings received, and returns the id of its trial."""
        trial = self.client.post_form(f"/api/runs/{self.run_id}/finish", [])
        self._is_over = True
        return int(trial["id"])

    def close(self) -> None:
        """Leaves the broker. What was not stored waits there, unless the run is over."""
        if self._subscription is not None:
            self._subscription.close(forget=self._is_over)

    @property
    def unsent_words(self) -> str:
        """Where the readings are that were not stored."""
        return "" if self._is_over or self.run_id is None else "Readings that are not stored wait at the broker."

    def _session(self) -> str:
        """Name of the session: a command that is started again goes on with it, another run has another one."""
        about = f"{self.client.url}|{self.topic.name}|{self.run_id}".encode()
        return f"hazefall-{self.run_id}-{hashlib.sha256(about).hexdigest()[:12]}"

    def _read(self, delivery: Delivery) -> None:
        if self._reader is None:
            self._reader = PayloadReader(self.columns)
        try:
            readings = self._reader.readings(delivery.payload)
        except InvalidValue as problem:
            self._refuse(delivery, problem.message)
            return
        finally:
            for name in self._reader.left_out.keys() - self._named:
                self._named.add(name)
                self.say(f"{self.topic.name}: “{name}” is left out: {self._reader.left_out[name]}.")
        if delivery.quality == 0 and "QoS" not in self._named:
            self._named.add("QoS")
            self.say(
                f"{self.topic.name}: the logger sends with QoS 0, so readings can be lost in a gap. Set QoS 1 there."
            )
        self._waiting.append(_Waiting(delivery, readings))

    def _refuse(self, delivery: Delivery, why: str) -> None:
        """A message that holds no reading would be delivered for ever, so it is acknowledged."""
        self.say(f"{self.topic.name}: a message was refused. {why}")
        assert self._subscription is not None
        self._subscription.acknowledge(delivery)

    def _send_all(self) -> int:
        stored = 0
        while self._waiting:
            lot = [self._waiting[0]]
            size = len(lot[0].readings)
            for each in self._waiting[1:]:
                if size + len(each.readings) > LOT:
                    break
                lot.append(each)
                size += len(each.readings)
            stored += self._send(lot)
            del self._waiting[: len(lot)]
        return stored

    def _send(self, lot: list[_Waiting]) -> int:
        """Sends some messages as one lot; where the bench refuses its content, each message by itself."""
        assert self._subscription is not None
        readings = [reading for each in lot for reading in each.readings]
        try:
            for start in range(0, len(readings), LOT):
                self._post(readings[start : start + LOT])
        except Refused as problem:
            if problem.status != _INVALID:
                self._go_on_after(problem)
                return self._send(lot)
            if len(lot) > 1:
                return sum(self._send([each]) for each in lot)
            self._refuse(lot[0].delivery, problem.message)
            return 0
        for each in lot:
            self._subscription.acknowledge(each.delivery)
        return len(readings)

    def _go_on_after(self, problem: Refused) -> None:
        """A run that was closed for silence is followed by a new one; anything else ends the command."""
        state = self.client.get(f"/api/runs/{self.run_id}")
        if state["status"] != "closed":
            self._is_over = state["status"] == "finished"
            raise problem
        self.say(problem.message)
        self._start_run("posted")
