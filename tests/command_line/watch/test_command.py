"""`hazefall watch` as a process beside a server, through a kill of the server, to the stored file."""

import time
from pathlib import Path

import pytest

from app.command_line.main import run
from app.services.access.api_tokens import add_api_token
from app.services.store.open import open_store
from app.settings import Settings
from app.storage.engine import session_scope
from tests.conftest import decay_log, sqlite_only
from tests.faults.bench_under_load import make_bench
from tests.faults.real_process import Served, start_command
from tests.sample_data.accounts import make_account

pytestmark = sqlite_only


def test_a_log_is_followed_through_the_end_of_its_server(tmp_path: Path):
    """The server is killed while the file grows; another one on the same port gets what was not acknowledged."""
    folder, path = tmp_path / "bench", tmp_path / "room.csv"
    make_bench(folder)
    log = decay_log(6.0, minutes=60)
    path.write_bytes(log[: len(log) // 3])
    server = Served(folder)
    watch = start_command(
        *("watch", str(path), "--room", "Room A", "--maker", "Maker", "--model", "Model 1", "--setting", "high"),
        *("--url", server.url, "--data", str(folder), "--finish-after", "0.05"),
    )
    try:
        _wait_for_readings(server, 1)
        server.kill()
        with path.open("ab") as file:
            file.write(log[len(log) // 3 :])
        port = server.url.rpartition(":")[2]
        server = Served(folder, port=port)
        _out, err = watch.communicate(timeout=120)
        assert watch.returncode == 0, err
        assert "Live run 1 in Room A: " in err
        assert err.strip().endswith("Finished: trial 1.")
        with server.client(60) as client:
            assert client.get("/api/trials/1/log").content == log
            assert client.get("/api/runs/1").json()["readings"] == log.count(b"\n") - 1
    finally:
        watch.kill()
        watch.communicate()
        server.stop()


def _wait_for_readings(server: Served, run_id: int) -> None:
    end = time.monotonic() + 60
    with server.client(60) as client:
        while time.monotonic() < end:
            answer = client.get(f"/api/runs/{run_id}")
            if answer.status_code == 200 and answer.json()["readings"]:
                return
            time.sleep(0.1)
    raise AssertionError("no reading arrived")


def test_a_token_without_the_right_gets_a_message_and_loses_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    """A token that may only view, and one that is none."""
    folder, path = tmp_path / "bench", tmp_path / "room.csv"
    make_bench(folder)
    engine = open_store(Settings(folder))
    with session_scope(engine) as session:
        account = make_account(session, "Ann")
        only_views = add_api_token(session, account, "tablet", "view")
    engine.dispose()
    path.write_bytes(decay_log(6.0, minutes=5))
    server = Served(folder)
    try:
        for token, words in ((only_views, "this needs the role 'add'"), ("x", "the request has no valid token")):
            (tmp_path / "token").write_text(token)
            asked = ["watch", str(path), "--room", "Room A", "--url", server.url]
            assert run([*asked, "--token-file", str(tmp_path / "token"), "--data", str(folder)]) == 1
            said = capsys.readouterr().err
            assert words in said
            assert said.endswith(f"The readings stay in {path}.\n")
    finally:
        server.stop()
    assert path.read_bytes() == decay_log(6.0, minutes=5)


def test_a_wrong_address_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    assert run(["watch", str(tmp_path / "x.csv"), "--room", "A", "--url", "ftp://bench"]) == 2
    assert "--url is 'ftp://bench'; enter an address such as http://127.0.0.1:8000." in capsys.readouterr().err
