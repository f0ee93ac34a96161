"""Checks the file of a store independently of the program: is everything acknowledged there, and nothing
half-stored?
"""

import hashlib
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing
from pathlib import Path

from app.storage.column_types import PackedBytes

# What must never be found, in words and as a question to the store. The logs of these tests hold particle channels
# only, so that every trial has results.
_HALVES = {
    "a raw file without a log": "SELECT sha256 FROM raw_files WHERE sha256 NOT IN (SELECT sha256 FROM logs)",
    "a log without a trial": "SELECT id FROM logs WHERE id NOT IN (SELECT log_id FROM trials)",
    "a log without channels": "SELECT id FROM logs WHERE id NOT IN (SELECT log_id FROM log_channels)",
    "a log with other readings than it was read with": (
        "SELECT id FROM logs WHERE readings != (SELECT count(*) FROM readings "
        "WHERE readings.id >= first_reading AND readings.id < first_reading + logs.readings)"
    ),
    "a trial without results for each channel": (
        "SELECT id FROM trials WHERE (SELECT count(*) FROM channel_results WHERE trial_id = trials.id) != "
        "(SELECT count(*) FROM log_channels WHERE log_id = trials.log_id)"
    ),
    "a trial that no record of changes names": (
        "SELECT id FROM trials WHERE id NOT IN (SELECT subject_id FROM changes WHERE subject = 'trial' "
        "AND action = 'added')"
    ),
    "a summary that rests on other trials than there are": (
        "SELECT s.id FROM setting_summaries s WHERE s.trials != (SELECT count(*) FROM trials t JOIN channel_results r "
        "ON r.trial_id = t.id WHERE t.setting_id = s.setting_id AND r.channel = s.channel AND r.usable)"
    ),
    "a setting with results and no summary": (
        "SELECT t.setting_id FROM trials t JOIN channel_results r ON r.trial_id = t.id WHERE r.usable AND "
        "t.setting_id IS NOT NULL AND t.setting_id NOT IN (SELECT setting_id FROM setting_summaries)"
    ),
}


def faults_of(path: Path) -> list[str]:
    """Everything that is wrong in a store, in words; empty where it is whole."""
    with closing(sqlite3.connect(path, timeout=30)) as store:
        return list(_faults(store))


def _faults(store: sqlite3.Connection) -> Iterator[str]:
    store.execute("BEGIN")  # one state for all questions
    for row in store.execute("PRAGMA integrity_check"):
        if row[0] != "ok":
            yield f"integrity: {row[0]}"
    for row in store.execute("PRAGMA foreign_key_check"):
        yield f"reference: {row}"
    for words, question in _HALVES.items():
        for row in store.execute(question):
            yield f"{words}: {row[0]}"
    for sha256, content in store.execute("SELECT sha256, content FROM raw_files"):
        if hashlib.sha256(PackedBytes().process_result_value(content, None) or b"").hexdigest() != sha256:
            yield f"a raw file of other bytes than were stored: {sha256}"


def missing_trials(path: Path, acknowledged: Mapping[int, str]) -> list[str]:
    """Trials that were acknowledged and are not there with the bytes that were sent.

    acknowledged : trial id to SHA-256 of its log
    """
    with closing(sqlite3.connect(path, timeout=30)) as store:
        there = dict(
            store.execute(
                "SELECT t.id, r.sha256 FROM trials t JOIN logs l ON l.id = t.log_id "
                "JOIN raw_files r ON r.sha256 = l.sha256"
            )
        )
    return [
        f"trial {trial_id} was acknowledged and is {'another' if trial_id in there else 'missing'}"
        for trial_id, sha256 in acknowledged.items()
        if there.get(trial_id) != sha256
    ]


def lost_marks(path: Path, acknowledged: Mapping[int, float], in_flight: Mapping[int, float]) -> list[str]:
    """Acknowledged marks that are missing; one in flight when the server died may have replaced them."""
    stored = dict(ask(path, "SELECT id, unit_on_s FROM trials"))
    return [
        f"unit on of trial {trial_id} was put at {place} s and stands at {stored.get(trial_id)} s"
        for trial_id, place in acknowledged.items()
        if stored.get(trial_id) not in (place, in_flight.get(trial_id, place))
    ]


def ask(path: Path, question: str) -> list[tuple]:
    with closing(sqlite3.connect(path, timeout=30)) as store:
        return store.execute(question).fetchall()


def change(path: Path, statement: str) -> None:
    with closing(sqlite3.connect(path, timeout=30)) as store:
        store.execute(statement)
        store.commit()
