"""Following a log that grows: half-written lines, truncation, rotation, a restart, and a bench that does not answer."""

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from httpx import Response

from app.command_line.watch.bench_client import Refused, Unreachable
from app.command_line.watch.follow import Follower
from app.command_line.watch.followed_log import FollowedLog
from app.reading_files.log_table import ReadingChoices
from tests.conftest import NOW, SmallBench, decay_log


@dataclass
class Bench:
    """A bench behind a network that can fail before a request arrives, or after it was carried out."""

    client: TestClient
    down: bool = False
    answers_lost: bool = False
    url: str = "http://bench"
    asked: list[str] = field(default_factory=list)
    logs: list[FollowedLog] = field(default_factory=list)

    def post(self, path: str, body: dict[str, Any], key: str = "") -> dict[str, Any]:
        headers = {"Idempotency-Key": key} if key else {}
        return self._ask(path, lambda: self.client.post(path, json=body, headers=headers))

    def post_form(
        self, path: str, fields: list[tuple[str, str]], file: tuple[str, bytes] | None = None
    ) -> dict[str, Any]:
        data: dict[str, Any] = {}
        for name, value in fields:
            data.setdefault(name, []).append(value)
        return self._ask(path, lambda: self.client.post(path, data=data, files={"log": file} if file else None))

    def get(self, path: str) -> dict[str, Any]:
        return self._ask(path, lambda: self.client.get(path))

    def _ask(self, path: str, act: Callable[[], Response]) -> dict[str, Any]:
        if self.down:
            raise Unreachable("http://bench does not answer (timed out).")
        self.asked.append(path)
        answer = act()
        if self.answers_lost:
            raise Unreachable("http://bench does not answer (connection reset).")
        if answer.status_code >= 400:
            raise Refused(answer.status_code, answer.json()["detail"])
        found: dict[str, Any] = answer.json()
        return found


@pytest.fixture
def bench(client: TestClient) -> Iterator[Bench]:
    made = Bench(client)
    yield made
    for log in made.logs:
        log.close()


def follower_of(bench: Bench, path: Path, said: list[str] | None = None, **conditions: str) -> Follower:
    given = {"room": "Room A", "maker": "Maker A", "model": "Model 1", "setting": "high", "kind": "unit running"}
    say = (said if said is not None else []).append
    bench.logs.append(FollowedLog(path))
    return Follower(client=bench, log=bench.logs[-1], conditions=given | conditions, choices=ReadingChoices(), say=say)  # type: ignore[arg-type]


def append(path: Path, content: bytes) -> None:
    with path.open("ab") as file:
        file.write(content)


def stored(bench: Bench, follower: Follower) -> int:
    return int(bench.client.get(f"/api/runs/{follower.run_id}").json()["readings"])


def test_a_growing_file_becomes_the_trial_of_its_upload(bench: Bench, small_bench: SmallBench, tmp_path: Path):
    log, path = decay_log(6.0, minutes=60), tmp_path / "room.csv"
    follower = follower_of(bench, path)
    assert follower.step() == 0  # there is no file yet
    sent = 0
    for start in range(0, len(log), 700):  # pieces end in the middle of lines
        append(path, log[start : start + 700])
        sent += follower.step()
    assert sent == log.count(b"\n") - 1
    trial = bench.client.get(f"/api/trials/{follower.finish()}").json()
    assert bench.client.get(f"/api/trials/{trial['id']}/log").content == log
    assert trial["log"]["file_name"] == "room.csv"
    upload = {"unit_under_test_id": small_bench.unit_id, "setting_id": small_bench.low_setting_id, "room_id": 1}
    uploaded = bench.client.post("/api/trials", data=upload, files={"log": ("room.csv", log)}).json()
    for same in ("log", "channels", "marks", "started_at"):
        assert trial[same] == uploaded[same]


def test_a_last_line_that_is_half_written_waits(bench: Bench, small_bench: SmallBench, tmp_path: Path):
    """“212.4” cut to “21” is a number too, so only whole lines are read."""
    lines, path = decay_log(6.0, minutes=5).splitlines(keepends=True), tmp_path / "room.csv"
    follower = follower_of(bench, path)
    append(path, b"".join(lines[:10]) + lines[10][:-3])
    assert follower.step() == 9
    append(path, lines[10][-3:])
    assert follower.step() == 1
    assert bench.client.get(f"/api/runs/{follower.run_id}").json()["conflicts"] == 0


def test_nothing_is_lost_in_a_gap_of_ten_minutes(bench: Bench, small_bench: SmallBench, tmp_path: Path):
    """The logger writes on for ten minutes of a reading a second; one request before the gap lost only its answer."""
    lines, path = decay_log(6.0, minutes=15, interval_s=1.0).splitlines(keepends=True), tmp_path / "room.csv"
    said: list[str] = []
    follower = follower_of(bench, path, said)
    append(path, b"".join(lines[:300]))
    assert follower.step() == 299
    append(path, b"".join(lines[300:310]))
    bench.answers_lost = True
    assert follower.step() == 0
    bench.answers_lost, bench.down = False, True
    for start in range(310, 910, 100):
        append(path, b"".join(lines[start : start + 100]))
        assert follower.step() == 0
        assert not follower.all_sent
    assert said[-1].endswith("The readings wait, and are sent once it answers.")
    bench.down = False
    assert follower.step() == 610
    assert follower.all_sent
    assert stored(bench, follower) == 909
    assert bench.client.get(f"/api/runs/{follower.run_id}").json()["conflicts"] == 0


def test_a_command_started_again_goes_on_with_its_run(bench: Bench, small_bench: SmallBench, tmp_path: Path):
    lines, path = decay_log(6.0, minutes=30).splitlines(keepends=True), tmp_path / "room.csv"
    append(path, b"".join(lines[:100]))
    first = follower_of(bench, path)
    first.step()
    append(path, b"".join(lines[100:]))
    again = follower_of(bench, path)
    again.step()
    assert again.run_id == first.run_id
    assert stored(bench, again) == len(lines) - 1
    trial_id = again.finish()
    third = follower_of(bench, path)
    third.step()  # the same lots are acknowledged once more, then the end of the run is noticed
    with pytest.raises(Refused, match=rf"^Live run {first.run_id} was finished as trial {trial_id}\.$"):
        third.step()


@pytest.mark.parametrize("header", [True, False])
def test_a_truncated_file_loses_nothing(bench: Bench, small_bench: SmallBench, tmp_path: Path, header: bool):
    """The logger empties its file and goes on, with or without a new header."""
    lines, path = decay_log(6.0, minutes=60).splitlines(keepends=True), tmp_path / "room.csv"
    said: list[str] = []
    follower = follower_of(bench, path, said)
    append(path, b"".join(lines[:200]))
    follower.step()
    path.write_bytes((lines[0] if header else b"") + b"".join(lines[200:]))
    assert follower.step() == len(lines) - 200
    size = sum(map(len, lines[:200]))
    assert any(f"was truncated or rewritten ({size} bytes were read" in words for words in said)
    assert stored(bench, follower) == len(lines) - 1
    trial = bench.client.get(f"/api/trials/{follower.finish()}").json()
    assert trial["log"]["readings"] == len(lines) - 1
    joined = b"".join(lines[:200]) + (lines[0] if header else b"") + b"".join(lines[200:])
    assert bench.client.get(f"/api/trials/{trial['id']}/log").content == joined


def test_a_rotated_file_is_followed_to_its_end(bench: Bench, small_bench: SmallBench, tmp_path: Path):
    """The old file is renamed after more was appended to it; the new one has the name."""
    lines, path = decay_log(6.0, minutes=60).splitlines(keepends=True), tmp_path / "room.csv"
    follower = follower_of(bench, path)
    append(path, b"".join(lines[:150]))
    follower.step()
    append(path, b"".join(lines[150:160]))
    path.rename(tmp_path / "room.1.csv")
    path.write_bytes(lines[0] + b"".join(lines[160:]))
    follower.step()
    assert stored(bench, follower) == len(lines) - 1


def test_a_folder_is_followed_into_its_next_file(bench: Bench, small_bench: SmallBench, tmp_path: Path):
    lines, folder = decay_log(6.0, minutes=60).splitlines(keepends=True), tmp_path / "logs"
    folder.mkdir()
    (folder / ".hidden.csv").write_bytes(b"no log")
    (folder / "picture.png").write_bytes(b"no log")
    append(folder / "a.csv", b"".join(lines[:150]))
    os.utime(folder / "a.csv", (1_000_000, 1_000_000))
    follower = follower_of(bench, folder)
    assert follower.step() == 149
    append(folder / "b.csv", lines[0] + b"".join(lines[150:]))
    follower.step()
    assert stored(bench, follower) == len(lines) - 1


def test_a_logger_that_starts_again_from_zero_loses_nothing(bench: Bench, small_bench: SmallBench, tmp_path: Path):
    """It counts seconds from its own start and has no clock; the time of writing places both parts."""
    path = tmp_path / "room.csv"
    part = [f"{10 * number},{300.0 - number:.1f}\n".encode() for number in range(40)]
    path.write_bytes(b"elapsed (s),PM2.5 [ug/m3]\n" + b"".join(part))
    begun = NOW.timestamp()
    os.utime(path, (begun + 390, begun + 390))
    follower = follower_of(bench, path)
    assert follower.step() == 40
    path.write_bytes(b"elapsed (s),PM2.5 [ug/m3]\n" + b"".join(part[:20]))
    os.utime(path, (begun + 1000, begun + 1000))
    assert follower.step() == 20
    state = bench.client.get(f"/api/runs/{follower.run_id}").json()
    assert (state["readings"], state["first_reading_at"]) == (60, NOW.isoformat().replace("+00:00", "Z"))
    assert state["last_reading_at"] == (NOW + timedelta(seconds=1000)).isoformat().replace("+00:00", "Z")
    assert bench.client.get(f"/api/trials/{follower.finish()}").json()["log"]["readings"] == 60


def test_a_log_without_a_clock_goes_on_where_it_was(bench: Bench, small_bench: SmallBench, tmp_path: Path):
    """The file was written later than it was first read; the times sent before hold."""
    path = tmp_path / "room.csv"
    part = [f"{10 * number},{300.0 - number:.1f}\n".encode() for number in range(40)]
    path.write_bytes(b"elapsed (s),PM2.5 [ug/m3]\n" + b"".join(part[:20]))
    first = follower_of(bench, path)
    first.step()
    append(path, b"".join(part[20:]))
    os.utime(path, (NOW.timestamp() + 5000, NOW.timestamp() + 5000))
    again = follower_of(bench, path)
    again.step()
    assert (again.run_id, stored(bench, again)) == (first.run_id, 40)


def test_a_refusal_says_why_and_nothing_is_lost(bench: Bench, small_bench: SmallBench, tmp_path: Path):
    path = tmp_path / "room.csv"
    path.write_bytes(decay_log(6.0, minutes=30))
    with pytest.raises(Refused, match=r"^There is no room 'Room Z' on the bench\. Correct the name, or add it first"):
        follower_of(bench, path, room="Room Z").step()
    follower = follower_of(bench, path)
    follower.step()
    assert stored(bench, follower) == 271


def test_a_file_that_is_no_log_is_waited_for(bench: Bench, small_bench: SmallBench, tmp_path: Path):
    path = tmp_path / "room.csv"
    path.write_bytes(b"time,PM2.5 [ug/m3]\n")
    said: list[str] = []
    follower = follower_of(bench, path, said)
    assert [follower.step(), follower.step()] == [0, 0]
    assert len([words for words in said if words.endswith("Waiting for more of the file.")]) == 1
    append(path, b"2026-03-02T09:00:00Z,5\n2026-03-02T09:00:10Z,6\n")
    assert follower.step() == 2


def test_the_page_asks_for_the_file(bench: Bench, small_bench: SmallBench, tmp_path: Path):
    path = tmp_path / "room.csv"
    path.write_bytes(decay_log(6.0, minutes=30))
    follower = follower_of(bench, path)
    follower.step()
    assert not follower.file_requested
    bench.client.post(f"/live/{follower.run_id}/finish", data={"with": "file"})
    follower.step()
    assert follower.file_requested
