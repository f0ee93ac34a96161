"""Every service that writes to the store records the change, or is listed here with a reason."""

import ast
from functools import cache
from pathlib import Path

from tests.house.source import nodes_of

SERVICES = Path(__file__).parents[2] / "app" / "services"
# the record itself, and rows that follow from others: their causes are recorded where they are changed
WRITES_WITHOUT_A_RECORD = {
    "results/recompute": "adds the records of all that moved in one statement of its own",
    "store/open": "makes the row of a new bench, which has no earlier state",
    "store/copy": "copies every row as it is, the record of changes among them",
    "logs/readings": "writes the readings of a log, for store_log",
    "logs/raw_files": "keeps the bytes of a clip or an attachment, which is recorded by whoever adds that",
    "logs/store": "keeps the log of a trial or measurement, which is recorded by whoever adds that",
    "adding_trials/upload_keys": "the key of a trial's upload; the trial is recorded by whoever adds it",
    "adding_trials/staged_on_server": "an upload that waits for confirmation is no part of the bench",
    "adding_trials/live_runs/receive": "readings are measurements; their run and its end are recorded",
    "results/natural_decay_pools": "pools follow from the empty-room runs",
    "results/repeatability": "follows from the repeats",
    "results/summaries": "summaries follow from results",
    "publishing/unit_addresses": "addresses are stored with the edition, which is recorded",
    "access/sign_in": "a sign-in is no part of the bench",
    "access/sign_in_throttle": "tries at a sign-in are counted and forgotten",
    "access/current_user": "notes the last use of a sign-in or token",
    "data_package/check": "writes into a store made for the check and thrown away",
    "data_package/open": "likewise",
    "data_package/logs": "likewise",
}
_WRITING_CALLS = {"add", "add_all", "delete", "merge", "bulk_insert_mappings", "bulk_save_objects"}
_WRITING_STATEMENTS = {"insert", "insert_into", "update", "delete"}


def name_of(path: Path) -> str:
    return path.relative_to(SERVICES).with_suffix("").as_posix()


def writes(path: Path) -> bool:
    """Whether a file adds rows to a session, removes them, or sends a statement that writes."""
    for node in nodes_of(path):
        if not isinstance(node, ast.Call):
            continue
        called = node.func
        if isinstance(called, ast.Attribute) and called.attr in _WRITING_CALLS:
            if isinstance(called.value, ast.Name) and called.value.id == "session":
                return True
        elif isinstance(called, ast.Name) and called.id in _WRITING_STATEMENTS:
            return True
    return False


def records(path: Path) -> bool:
    calls = (node.func for node in nodes_of(path) if isinstance(node, ast.Call))
    return any(isinstance(called, ast.Name) and called.id in {"record_change", "record_changes"} for called in calls)


def test_the_reader_sees_every_form_of_writing(tmp_path: Path):
    statements = "session.execute(insert(T))", "c.execute(insert_into(T))", "c.execute(update(T))"
    for source in ("session.add(x)", "session.delete(x)", *statements):
        file = tmp_path / "sample.py"
        file.write_text(source)
        assert writes(file), source
    file.write_text("names.add(x)\nselect(T)")
    assert not writes(file)


@cache
def _writing() -> list[Path]:
    """Read when a test asks, because every worker of a run loads this file."""
    return sorted(path for path in SERVICES.rglob("*.py") if writes(path))


def test_a_service_that_writes_records_the_change():
    silent = {name_of(path) for path in _writing() if not records(path)}
    assert silent - WRITES_WITHOUT_A_RECORD.keys() == set()


def test_no_exception_stands_here_without_need():
    needed = {name_of(path) for path in _writing() if not records(path)}
    assert WRITES_WITHOUT_A_RECORD.keys() - needed == set()
