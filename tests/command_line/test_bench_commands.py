"""The commands that keep a bench: import, check, backup, restore, recompute."""

import os
import re
import sqlite3
import sys
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest

from app.command_line.main import COMMANDS, run
from tests.conftest import NOW, decay_log

HEADER = "file,maker,model,setting,room,room_volume_m3,kind_of_cleaning,smoke_source,tested_by"


@pytest.fixture
def logs(tmp_path: Path) -> Path:
    folder = tmp_path / "logs"
    folder.mkdir()
    rows = [HEADER]
    for day, rate in enumerate((0.5, 4.0, 6.0)):
        name = f"run{day}.csv"
        (folder / name).write_bytes(decay_log(rate, seed=day, started_at=NOW + timedelta(days=day)))
        unit = "Maker A,Model 1,high" if day else ",,"
        rows.append(f"{name},{unit},Room A,30,{'mechanical filter' if day else ''},incense,Ann")
    (folder / "list.manifest").write_text("\n".join(rows) + "\n")
    return folder


@pytest.fixture
def bench(logs: Path, settings, capsys: pytest.CaptureFixture[str]) -> Path:
    """The folder of a bench with three imported trials."""
    folder = settings.data_folder
    listed = str(logs / "list.manifest")
    assert run(["import", str(logs), "--manifest", listed, "--data", str(folder), "--add-missing"]) == 0
    assert capsys.readouterr().out == f"{folder}: 3 logs added, 0 already present, 0 not added\n"
    return folder


def _query(folder: Path, statement: str):
    with closing(sqlite3.connect(folder / "bench.sqlite")) as store:
        return store.execute(statement).fetchall()


def test_an_import_by_a_list_adds_what_is_missing_and_settles_the_results(bench: Path):
    assert _query(bench, "SELECT kind FROM trials ORDER BY id") == [
        ("empty room",),
        ("unit running",),
        ("unit running",),
    ]
    rates = _query(
        bench,
        "SELECT clean_air_delivery_rate_m3_per_h FROM channel_results WHERE channel = 'pm2_5' ORDER BY trial_id",
    )
    assert rates[0] == (None,)
    assert [rate for (rate,) in rates[1:]] == pytest.approx([105, 165], rel=0.05)
    assert _query(bench, "SELECT count(*) FROM setting_summaries") == [(3,)]
    assert _query(bench, "SELECT DISTINCT action FROM changes WHERE subject = 'trial'") == [("added",)]


def test_an_import_run_twice_adds_nothing(bench: Path, logs: Path, capsys: pytest.CaptureFixture[str]):
    assert run(["import", str(logs), "--manifest", str(logs / "list.manifest"), "--data", str(bench)]) == 0
    assert capsys.readouterr().out.endswith(": 0 logs added, 3 already present, 0 not added\n")


def test_a_list_of_a_spreadsheet_on_windows_is_read(bench: Path, logs: Path, capsys: pytest.CaptureFixture[str]):
    """With its mark of UTF-8, carriage returns, semicolons and backslashes."""
    (logs / "night").mkdir()
    (logs / "run1.csv").rename(logs / "night" / "run1.csv")
    rows = ["file;maker;model;setting;room", "night\\run1.csv;Maker A;Model 1;high;Room A", ""]
    (logs / "list.csv").write_bytes("\r\n".join(rows).encode("utf-8-sig"))
    assert run(["import", str(logs), "--manifest", str(logs / "list.csv"), "--data", str(bench)]) == 0
    assert capsys.readouterr().out.endswith(": 0 logs added, 1 already present, 0 not added\n")


def test_one_bad_log_does_not_stop_the_others(bench: Path, logs: Path, capsys: pytest.CaptureFixture[str]):
    more = logs / "more"
    more.mkdir()
    (more / "bad.csv").write_text("nothing here")
    (more / "good.csv").write_bytes(decay_log(5.0, seed=9))
    told = ["--maker", "maker a", "--model", "MODEL 1", "--setting", "High", "--room", "room a"]
    assert run(["import", str(more), "--data", str(bench), *told]) == 1
    said = capsys.readouterr()
    assert said.out.endswith(": 1 logs added, 0 already present, 1 not added\n")
    assert said.err.startswith("bad.csv: bad.csv")
    assert _query(bench, "SELECT count(*) FROM raw_files") == [(4,)]


def test_what_is_not_on_the_bench_is_named(bench: Path, logs: Path, capsys: pytest.CaptureFixture[str]):
    (logs / "run9.csv").write_bytes(decay_log(5.0, seed=99))
    listed = logs / "more.manifest"
    listed.write_text(
        f"{HEADER}\nrun9.csv,Maker A,Model 9,high,Room A,,,,\nrun9.csv,,,,Room B,,,,\ngone.csv,,,,Room A,,,,\n"
    )
    assert run(["import", str(logs), "--manifest", str(listed), "--data", str(bench)]) == 1
    assert capsys.readouterr().err.splitlines() == [
        "run9.csv: There is no unit under test 'Maker A Model 9'. Add it first, correct the name, or use "
        "--add-missing.",
        "run9.csv: There is no room 'Room B'. Add it first, correct the name, or use --add-missing.",
        "gone.csv: gone.csv cannot be opened: No such file or directory. Check its name and folder.",
    ]


@pytest.mark.parametrize(
    ("typed", "message"),
    [
        ([], "No room is given. Name it with --room, or in the column room of a list (--manifest)."),
        (["--add-missing"], "No room is given. Name it with --room, or in the column room of a list (--manifest)."),
        (
            ["--add-missing", "--room", "Room A"],
            "The new room 'Room A' needs a volume. Enter it in the column room_volume_m3 of a list (--manifest), or "
            "add the room in the browser first.",
        ),
        (
            ["--model", "Model 1"],
            "No setting is given. Name it with --setting, or in the column setting of a list (--manifest).",
        ),
    ],
)
def test_a_first_import_is_told_what_is_missing(
    logs: Path, settings, typed: list[str], message: str, capsys: pytest.CaptureFixture[str]
):
    store = str(settings.data_folder)
    if "--model" in typed:
        listed = str(logs / "list.manifest")
        assert run(["import", str(logs), "--manifest", listed, "--data", store, "--add-missing"]) == 0
        (logs / "run0.csv").write_bytes(decay_log(5.0, seed=99))
        typed = [*typed, "--maker", "Maker A", "--room", "Room A"]
    assert run(["import", str(logs), "--data", store, *typed]) == 1
    assert f"run0.csv: {message}" in capsys.readouterr().err.splitlines()


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (
            "file,colour\na.csv,red\n",
            "The list a.manifest has the column 'colour'; it needs a column “file” and may have:",
        ),
        ("room\nRoom A\n", "The list a.manifest has no column “file”; it needs a column “file” and may have: aerosol,"),
        ("file,room\n", "The list a.manifest names no log; it needs one row per log."),
        ("file,room\n,Room A\n", "a.manifest, line 2, names no file. Enter one, or remove the line."),
        (
            'file,room\n"a.csv,Room A\n',
            "a.manifest, line 2, is not a valid CSV line: unexpected end of data. Correct it.",
        ),
        ("file,room\na.csv,Room A,more\n", "a.manifest, line 2, has more cells than the header has columns."),
        (
            "file,room_volume_m3\na.csv,wide\n",
            "a.manifest, line 2: room_volume_m3 is 'wide'; enter a number with a decimal point.",
        ),
    ],
)
def test_a_list_that_cannot_be_used_is_refused(
    tmp_path: Path, settings, content: str, message: str, capsys: pytest.CaptureFixture[str]
):
    listed = tmp_path / "a.manifest"
    listed.write_text(content)
    assert run(["import", str(tmp_path), "--manifest", str(listed), "--data", str(settings.data_folder)]) == 2
    assert capsys.readouterr().err.startswith(f"hazefall import: {message}")


def test_a_folder_without_logs_is_refused(tmp_path: Path, settings, capsys: pytest.CaptureFixture[str]):
    data = ["--data", str(settings.data_folder)]
    (tmp_path / "none").mkdir()
    assert run(["import", str(tmp_path / "none"), *data]) == 2
    assert run(["import", str(tmp_path / "gone"), *data]) == 2
    assert run(["import", str(tmp_path), "--manifest", str(tmp_path / "gone.csv"), *data]) == 2
    said = capsys.readouterr().err
    assert "none contains no logs; files ending in .csv, .tsv, .txt, .log, .dat, .xlsx are read." in said
    assert "gone is not a folder. Give the folder with the logs, or a list with --manifest." in said
    assert "gone.csv cannot be opened: No such file or directory. Check its name and folder." in said


@pytest.mark.parametrize(
    "command",
    [
        *(["check"], ["recompute"], ["package", "out.zip"], ["publish", "site"]),
        *(["account", "list"], ["account", "disable", "Ann"], ["token", "list"]),
    ],
)
def test_no_bench_is_made_where_one_is_looked_for(
    command: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    """In a folder that was mistyped an empty bench would be made, and be found sound."""
    monkeypatch.chdir(tmp_path)
    assert run([*command, "--data", str(tmp_path / "bemch")]) == 1
    assert capsys.readouterr().err == (
        f"hazefall {command[0]}: There is no bench in {tmp_path}/bemch. Choose its folder with --data, or its URL "
        "with --database.\n"
    )
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("out", ["", "..", "../"])
def test_the_folder_of_the_bench_is_not_published(bench: Path, out: str, capsys: pytest.CaptureFixture[str]):
    """Its secret and its store would be uploaded with the site."""
    before = sorted(bench.iterdir())
    assert run(["publish", str(bench / out), "--data", str(bench)]) == 2
    assert f"holds the bench itself, which must not be published: its folder is {bench}." in capsys.readouterr().err
    assert sorted(bench.iterdir()) == before


@pytest.mark.parametrize("command", [["recompute"], ["publish", "site"], ["check", "package.zip"], ["serve"]])
@pytest.mark.parametrize("number", ["0", "-3", "many"])
def test_a_number_of_processes_that_is_none_is_refused(
    command: list[str], number: str, capsys: pytest.CaptureFixture[str]
):
    with pytest.raises(SystemExit, match="2"):
        run([*command, f"--workers={number}"])
    assert f"'{number}' is not a number of processes; enter a whole number from 1 to 64" in capsys.readouterr().err


def test_a_port_of_the_environment_that_is_none_is_refused(
    bench: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    monkeypatch.setenv("HAZEFALL_PORT", "99999")
    assert run(["serve", "--data", str(bench)]) == 2
    message = "HAZEFALL_PORT is '99999'; it must be a whole number from 1 to 65535. Correct it or unset it."
    assert message in capsys.readouterr().err


@pytest.mark.parametrize(
    ("url", "message"),
    [
        ("bench", "'bench' is not a database URL."),
        ("postgresql://desk@localhost:port/bench", "'postgresql://desk@localhost:port/bench' is not a database URL."),
        ("postgresql://desk@[::1/bench", "'postgresql://desk@[::1/bench' is not a database URL."),
        ("postgresql://desk:secret@db:54x/bench", "'postgresql://desk:***@db:54x/bench' is not a database URL."),
        ("postgresql+psycopg2://desk@localhost/bench", "The database URL begins with postgresql+psycopg2://, which"),
        ("postgres://desk@localhost/bench", "The database URL begins with postgres://, which is not supported."),
    ],
)
@pytest.mark.parametrize("command", [["serve", "--port", "0"], ["account", "list"], ["token", "list"]])
def test_an_address_that_no_database_has_is_a_wrong_argument(
    command: list[str], url: str, message: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    assert run([*command, "--data", str(tmp_path), "--database", url]) == 2
    said = capsys.readouterr().err
    assert said.startswith(f"hazefall {command[0]}: {message}")
    assert said.endswith("Use sqlite:///PATH or postgresql://USER@HOST/NAME.\n")


def test_a_bench_of_somebody_is_not_served_as_the_demonstration(bench: Path, capsys: pytest.CaptureFixture[str]):
    assert run(["demo", "--only-make", "--data", str(bench)]) == 1
    said = capsys.readouterr()
    assert said.out == ""
    assert "This bench holds units or trials of your own, so it is not the demonstration." in said.err


def test_a_link_into_a_demonstration_that_was_never_made_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    monkeypatch.setattr("platformdirs.user_data_path", lambda _: tmp_path / "hazefall")
    assert run(["link", "--demo"]) == 1
    assert f"There is no bench in {tmp_path / 'hazefall-demo'}." in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_sound_store_is_told_so(bench: Path, capsys: pytest.CaptureFixture[str]):
    assert run(["check", "--data", str(bench)]) == 0
    said = capsys.readouterr().out
    assert f"{bench}: 3 trials, 3 logs, 3 raw files, 1353 readings checked" in said
    assert said.endswith("The store is OK.\n")
    assert run(["check", "--database", f"sqlite:///{bench}/bench.sqlite"]) == 0
    assert f"{bench}/bench.sqlite: 3 trials" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("damage", "message"),
    [
        (
            "UPDATE raw_files SET content = x'00' WHERE sha256 = (SELECT min(sha256) FROM raw_files)",
            r"WRONG: The raw file [0-9a-f]{12}… holds 1 bytes with the hash 6e340b9cffb3…; it was stored",
        ),
        (
            "DELETE FROM readings WHERE id > (SELECT first_reading + 400 FROM logs WHERE id = 2) "
            "AND id < (SELECT first_reading + readings FROM logs WHERE id = 2)",
            r"WRONG: Log 2 \(run1\.csv\) holds 401 rows of readings; it was read with 451\.",
        ),
        (
            "UPDATE logs SET first_reading = first_reading - 1 WHERE id = 2",
            r"WRONG: Log 2 \(run1\.csv\) shares rows of readings with the log before it\.",
        ),
        (
            "INSERT INTO readings (elapsed_s, value_01) VALUES (0, 1), (1, 2)",
            r"WRONG: 2 rows of readings belong to no log\.",
        ),
        (
            "UPDATE logs SET first_reading = NULL WHERE id = 2",
            r"WRONG: Log 2 \(run1\.csv\) holds 0 rows of readings; it was read with 451\.",
        ),
        (
            "DROP TRIGGER changes_refuse_delete",
            r"WRONG: The store no longer protects the change history: changes_refuse_delete was removed",
        ),
        (
            "DELETE FROM speed_settings",
            r"WRONG: Row \d+ of \w+ refers to a row of speed_settings that is missing\.",
        ),
    ],
)
def test_damage_is_found(bench: Path, damage: str, message: str, capsys: pytest.CaptureFixture[str]):
    with closing(sqlite3.connect(bench / "bench.sqlite")) as store:
        store.execute(damage)
        store.commit()
    assert run(["check", "--data", str(bench)]) == 1
    said = capsys.readouterr().out
    assert re.search(message, said)
    assert said.endswith("The store has problems; see above.\n")


def test_results_of_an_older_method_are_told(bench: Path, capsys: pytest.CaptureFixture[str]):
    with closing(sqlite3.connect(bench / "bench.sqlite")) as store:
        store.execute("PRAGMA foreign_keys = ON")
        store.execute("UPDATE channel_results SET method_version = '0.1' WHERE trial_id = 2")
        store.execute("DELETE FROM channel_results WHERE trial_id = 3")
        store.commit()
    assert run(["check", "--data", str(bench)]) == 0
    said = capsys.readouterr().out
    assert re.search(
        r"note: 3 results were made by method 0\.1; this program has .*\. Run `hazefall recompute`\.", said
    )
    assert "note: Trial 3 has no result: its log holds no particle channel." in said


def test_a_backup_is_verified_and_can_be_brought_back(bench: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    copy = tmp_path / "copy.sqlite"
    assert run(["backup", str(copy), "--data", str(bench)]) == 0
    said = capsys.readouterr().out
    assert "verified; 1 units under test, 3 trials, 3 logs, 3 raw files, 9 channel results" in said
    other = tmp_path / "other"
    assert run(["restore", str(copy), "--data", str(other)]) == 0
    assert _query(other, "SELECT count(*) FROM readings") == [(1353,)]
    assert run(["check", "--data", str(other)]) == 0


def test_a_backup_takes_in_what_stands_in_the_write_ahead_log(bench: Path, tmp_path: Path):
    with closing(sqlite3.connect(bench / "bench.sqlite")) as store:
        store.execute("PRAGMA wal_autocheckpoint = 0")
        store.execute("UPDATE bench SET name = 'Newest name'")
        store.commit()
        assert run(["backup", str(tmp_path / "copy.sqlite"), "--data", str(bench)]) == 0
    with closing(sqlite3.connect(tmp_path / "copy.sqlite")) as copy:
        assert copy.execute("SELECT name FROM bench").fetchall() == [("Newest name",)]


def test_a_backup_without_a_name_goes_to_the_data_folder(bench: Path, capsys: pytest.CaptureFixture[str]):
    assert run(["backup", "--data", str(bench)]) == 0
    (copy,) = (bench / "backups").iterdir()
    assert capsys.readouterr().out.startswith(f"{copy}: ")


def test_nothing_is_overwritten_unasked(bench: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    copy = tmp_path / "copy.sqlite"
    run(["backup", str(copy), "--data", str(bench)])
    capsys.readouterr()
    assert run(["backup", str(copy), "--data", str(bench)]) == 1
    assert capsys.readouterr().err == (
        f"hazefall backup: {copy} already exists and is not overwritten. Choose another name for the copy.\n"
    )
    assert run(["restore", str(copy), "--data", str(bench)]) == 1
    assert capsys.readouterr().err == (
        f"hazefall restore: {bench}/bench.sqlite already exists and would be replaced. Use --overwrite to replace "
        "it; the current store is then kept beside it.\n"
    )


def test_a_replaced_store_is_kept_beside(bench: Path, tmp_path: Path):
    copy = tmp_path / "copy.sqlite"
    run(["backup", str(copy), "--data", str(bench)])
    with closing(sqlite3.connect(bench / "bench.sqlite")) as store:
        store.execute("UPDATE bench SET name = 'After the copy'")
        store.commit()
    assert run(["restore", str(copy), "--data", str(bench), "--overwrite"]) == 0
    assert _query(bench, "SELECT name FROM bench") == [("Bench",)]
    (kept,) = bench.glob("bench.sqlite.replaced-*")
    with closing(sqlite3.connect(kept)) as store:
        assert store.execute("SELECT name FROM bench").fetchall() == [("After the copy",)]


def test_a_store_in_use_is_not_replaced(bench: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch):
    from app.services.store import backup as backup_store

    monkeypatch.setattr(backup_store, "WAIT_FOR_STORE_S", 0.1)
    copy = tmp_path / "copy.sqlite"
    run(["backup", str(copy), "--data", str(bench)])
    with closing(sqlite3.connect(bench / "bench.sqlite")) as server:
        server.execute("BEGIN IMMEDIATE")
        assert run(["restore", str(copy), "--data", str(bench), "--overwrite"]) == 1
    assert "is locked by another program" in capsys.readouterr().err
    assert list(bench.glob("*.replaced-*")) == []


def test_a_copy_that_is_none_is_refused(bench: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    text, other = tmp_path / "letter.txt", tmp_path / "recipes.sqlite"
    text.write_text("Dear reader, " * 100)
    with closing(sqlite3.connect(other)) as store:
        store.execute("CREATE TABLE recipes (name)")
        store.commit()
    data = ["--data", str(tmp_path / "new")]
    assert run(["restore", str(tmp_path / "gone.sqlite"), *data]) == 2
    assert "There is no file" in capsys.readouterr().err
    assert run(["restore", str(text), *data]) == 1
    assert "letter.txt is damaged or cut" in capsys.readouterr().err
    assert run(["restore", str(other), *data]) == 1
    assert "recipes.sqlite is not a bench store: it has no store version. Use another file." in (
        capsys.readouterr().err
    )
    with closing(sqlite3.connect(bench / "bench.sqlite")) as store:
        store.execute("DELETE FROM speed_settings")
        store.commit()
    assert run(["restore", str(bench / "bench.sqlite"), *data]) == 1
    assert re.search(r"holds \d+ rows that refer to a missing row, the first in table", capsys.readouterr().err)


def test_a_damaged_copy_is_refused(bench: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    copy = tmp_path / "copy.sqlite"
    run(["backup", str(copy), "--data", str(bench)])
    content = bytearray(copy.read_bytes())
    content[len(content) // 2 : len(content) // 2 + 9000] = b"\xff" * 9000
    copy.write_bytes(content)
    assert run(["restore", str(copy), "--data", str(tmp_path / "new")]) == 1
    assert "is damaged" in capsys.readouterr().err
    assert not (tmp_path / "new" / "bench.sqlite").exists()


def test_there_is_nothing_to_copy_without_a_store(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    assert run(["backup", "--data", str(tmp_path)]) == 1
    assert "There is no store" in capsys.readouterr().err


def test_a_copy_that_cannot_be_written_is_told(bench: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    (tmp_path / "file").write_text("in the way")
    assert run(["backup", str(tmp_path / "file" / "copy.sqlite"), "--data", str(bench)]) == 1
    assert "could not be written" in capsys.readouterr().err


def test_a_database_server_has_its_own_tools(monkeypatch, capsys: pytest.CaptureFixture[str]):
    monkeypatch.setenv("HAZEFALL_DATABASE_URL", "postgresql://somewhere/bench")
    assert run(["backup"]) == 1
    assert "The bench is on a database server, which has its own backup tools (pg_dump, pg_restore)." in (
        capsys.readouterr().err
    )


def test_a_re_analysis_stores_only_what_is_accepted(bench: Path, capsys: pytest.CaptureFixture[str]):
    with closing(sqlite3.connect(bench / "bench.sqlite")) as store:
        store.execute("UPDATE channel_results SET total_decay_per_h = total_decay_per_h / 2 WHERE trial_id = 2")
        store.commit()
    halved = _query(bench, "SELECT total_decay_per_h FROM channel_results WHERE trial_id = 2 AND channel = 'pm2_5'")
    told = ["--data", str(bench), "--workers", "1"]
    assert run(["recompute", *told]) == 0
    said = capsys.readouterr().out
    assert re.search(r"3 trials re-analysed with method \S+; \d+ results change", said)
    assert re.search(r"  trial 2, PM2\.5: the total decay \[1/h\]: [\d.]{3,9} to [\d.]{3,9} \(", said)
    assert "_per_h" not in said
    assert "(100.00% of the previous value)" in said
    assert said.endswith("Nothing was saved. Run it again with --accept to save the new results.\n")
    statement = "SELECT total_decay_per_h FROM channel_results WHERE trial_id = 2 AND channel = 'pm2_5'"
    assert _query(bench, statement) == halved
    assert run(["recompute", *told, "--accept", "--who", "Ann", "--why", "checked"]) == 0
    assert _query(bench, statement)[0][0] == pytest.approx(2 * halved[0][0])
    assert _query(bench, "SELECT DISTINCT who, why FROM changes WHERE action = 'recomputed'") == [("Ann", "checked")]


def test_every_command_explains_itself(capsys: pytest.CaptureFixture[str]):
    for command in COMMANDS:
        with pytest.raises(SystemExit) as stopped:
            run([command, "--help"])
        assert stopped.value.code == 0
        assert f"usage: hazefall {command}" in capsys.readouterr().out
    with pytest.raises(SystemExit) as stopped:
        run([])
    assert stopped.value.code == 2


@pytest.mark.skipif(not hasattr(os, "nice"), reason="this system has no such priority")
@pytest.mark.parametrize(("command", "behind"), [("check", True), ("token", False)])
def test_what_works_through_a_whole_bench_gives_way_to_the_server(
    command: str, behind: bool, bench: Path, monkeypatch: pytest.MonkeyPatch
):
    """Only as a process of its own, and only where it takes long."""
    lowered: list[int] = []
    monkeypatch.setattr(os, "nice", lowered.append)
    given = [command, *(["list"] if command == "token" else []), "--data", str(bench)]
    assert run(given) == 0
    assert lowered == []
    monkeypatch.setattr(sys, "argv", ["hazefall", *given])
    assert run() == 0
    assert [number > 0 for number in lowered] == [True] * behind
