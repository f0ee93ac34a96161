"""Follows a log and sends what is new. Until it is acknowledged a reading stays in the file and in memory."""

import hashlib
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from app.command_line.watch.bench_client import Refused, Unreachable
from app.command_line.watch.followed_log import FollowedLog, Piece
from app.command_line.watch.run_follower import RunFollower
from app.errors import UnreadableLog
from app.reading_files.headers.channels import has_known_form, in_order, split_detector

if TYPE_CHECKING:
    from app.reading_files.log_table import LogTable, ReadingChoices

LOT = 1000
MOST_CHANNELS = 16


@dataclass(slots=True, kw_only=True)
class Follower(RunFollower):
    """Sends the readings of a followed log to one live run.

    sent : times of acknowledged readings [µs since 1970]
    begins : start of each piece whose logger has no clock, by its number
    """

    log: FollowedLog
    choices: "ReadingChoices"
    sent: set[int] = field(default_factory=set)
    begins: dict[int, datetime] = field(default_factory=dict)
    _read: dict[int, tuple[int, "LogTable"]] = field(default_factory=dict)

    def step(self) -> int:
        """One look at the file; the number of readings that were sent. Raises Refused where the bench refuses."""
        self.log.look()
        for message in self.log.messages:
            self.say(message)
        number = len(self.log.pieces)
        # a piece before the newest one changes no more once all of it was sent
        rows = [row for place in range(max(number - 2, 0), number) for row in self._rows(place)]
        new = [row for row in rows if row[0] not in self.sent]
        try:
            if new and self.run_id is None:
                self._start()
                return self.step()  # again, because local times are read in the time zone of the bench
            for start in range(0, len(new), LOT):
                self._send(new[start : start + LOT])
            if not new and self.run_id is not None and not self.file_requested:
                self.file_requested = self._state()["file_requested"]
        except Unreachable as problem:
            self._say_once(f"{problem.message} The readings wait, and are sent once it answers.")
            self.all_sent = False
            return 0
        self.all_sent = True
        return len(new)

    def finish(self) -> int:
        """Finishes the run with its file, and returns the id of the trial. Raises Unreachable or Refused."""
        if self.run_id is None:
            raise Refused(422, "No reading was sent, so there is no run to finish.")
        file = self._whole_file()
        fields = [("columns", f"{header}={use}") for header, use in self.choices.columns.items()]
        fields += [("timezone", self.choices.timezone)] if self.choices.timezone else []
        fields += [("box", self.choices.box)] if self.choices.box else []
        if file is None:
            self.say("The log is in several parts that cannot be read as one file; the readings received are stored.")
        trial = self.client.post_form(f"/api/runs/{self.run_id}/finish", fields if file else [], file)
        return int(trial["id"])

    @property
    def unsent_words(self) -> str:
        """Where the readings are that were not sent."""
        return f"The readings stay in {self.log.path}."

    def close(self) -> None:
        self.log.close()

    def _start(self) -> None:
        """Starts the run, or joins one without readings that was started on the page; a file whose run was started
        before goes on with it.
        """
        content, table = self.log.pieces[0].whole_lines(), self._read[0][1]
        first_lines = b"\n".join(content.splitlines()[: table.header_line + 1])
        about = f"{self.log.path.resolve()}|{self.conditions.get('room')}|".encode() + first_lines
        key = f"watch {hashlib.sha256(about).hexdigest()[:40]}"
        run = self._start_run("file", key)
        self.choices = replace(self.choices, assumed_timezone=run["timezone"])
        self._read.clear()
        if run["first_reading_at"]:
            self.begins[0] = datetime.fromisoformat(run["first_reading_at"])

    def _send(self, rows: list[tuple[int, dict[str, Any]]]) -> None:
        self.file_requested = self._post([row for _, row in rows])["file_requested"]
        self.sent.update(us for us, _ in rows)

    def _rows(self, place: int) -> list[tuple[int, dict[str, Any]]]:
        """Time and reading of each row of a piece."""
        table = self._table(place)
        if table is None:
            return []
        begin = table.started_at
        if not table.clock_is_known:
            piece = self.log.pieces[place]
            newest = datetime.fromtimestamp(piece.mtime, UTC) - timedelta(seconds=float(table.elapsed_s[-1]))
            begin = self.begins.setdefault(place, newest)
        first_us = (begin - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)
        names = [name for name in in_order(table.levels) if has_known_form(split_detector(name)[0])][:MOST_CHANNELS]
        columns = {name: table.levels[name].tolist() for name in names}
        rows = []
        for number, us in enumerate((first_us + np.round(1e6 * table.elapsed_s).astype(np.int64)).tolist()):
            if us in self.sent:
                continue
            time = (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=us)).isoformat()
            levels = {name: of[number] for name, of in columns.items() if of[number] == of[number]}
            if levels:
                rows.append((us, {"time": time} | levels))
        return rows

    def _table(self, place: int) -> "LogTable | None":
        """The whole lines of a piece as a table; None while there is no reading in it."""
        piece = self.log.pieces[place]
        known = self._read.get(place)
        if known is not None and known[0] == len(piece.content):
            return known[1]
        try:
            table = self._as_log(place, piece.whole_lines())
        except UnreadableLog as problem:
            if len(piece.content) > 0:
                self._say_once(f"{problem.message} Waiting for more of the file.")
            return known[1] if known is not None else None
        self._read[place] = (len(piece.content), table)
        return table

    def _as_log(self, place: int, content: bytes) -> "LogTable":
        """A piece as a log; one that goes on without a header is read under the header of the piece before."""
        from app.reading_files.read_log import read_log  # loaded when used: it needs pandas

        name = self.log.pieces[place].name
        before = self._read.get(place - 1)
        if before is not None and content:
            lines = bytes(self.log.pieces[place - 1].content).splitlines(keepends=True)
            header = b"".join(lines[: before[1].header_line])
            if lines and not content.startswith(lines[before[1].header_line - 1].rstrip()[:40]):
                return read_log(header + content, name, self.choices)
        return read_log(content, name, self.choices)

    def _whole_file(self) -> tuple[str, bytes] | None:
        """Name and bytes of the file to store: as it is, or its parts joined if they can be read as one."""
        from app.reading_files.read_log import read_log

        pieces = [piece for piece in self.log.pieces if piece.content]
        if len(pieces) == 1:
            return pieces[0].name, bytes(pieces[0].content)
        content = b"".join(_with_line_end(piece) for piece in pieces)
        try:
            table = read_log(content, pieces[-1].name, self.choices)
        except UnreadableLog:
            return None
        complete = table.clock_is_known and len(table.elapsed_s) >= len(self.sent)
        return (pieces[-1].name, content) if complete else None


def _with_line_end(piece: Piece) -> bytes:
    content = bytes(piece.content)
    return content if content.endswith(b"\n") else content + b"\n"
