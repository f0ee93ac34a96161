"""`hazefall analyse`: what it prints, and its exit status."""

import io
import json
import os
import sys
from pathlib import Path

import pytest

from app.command_line.main import run
from tests.conftest import decay_log


@pytest.fixture
def log(tmp_path: Path) -> Path:
    path = tmp_path / "run.csv"
    path.write_bytes(decay_log(6.0))
    return path


def _json(capsys: pytest.CaptureFixture[str]) -> dict:
    return json.loads(capsys.readouterr().out)


def test_a_word_where_a_number_belongs_is_told_as_such(log: Path, capsys: pytest.CaptureFixture[str]):
    with pytest.raises(SystemExit) as stopped:
        run(["analyse", str(log), "--room-volume-m3", "large"])
    assert stopped.value.code == 2
    assert "--room-volume-m3: 'large' is not a number; enter one such as 30.5" in capsys.readouterr().err


def test_json_of_a_log(log: Path, capsys: pytest.CaptureFixture[str]):
    arguments = ["--room-volume-m3", "30", "--room-volume-uncertainty-m3", "0.5", "--natural-decay-per-h", "0.5"]
    arguments += ["--natural-decay-uncertainty-per-h", "0.05", "--channel", "pm2_5", "--json"]
    assert run(["analyse", str(log), *arguments]) == 0
    found = _json(capsys)
    assert list(found["channels"]) == ["pm2_5"]
    assert found["channels"]["pm2_5"]["clean_air_delivery_rate_m3_per_h"]["value"] == pytest.approx(165, rel=0.03)


def test_empty_room_logs_may_be_given_several_times(log: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    told = []
    for seed in (5, 6):
        path = tmp_path / f"empty{seed}.csv"
        path.write_bytes(decay_log(0.5, minutes=180, seed=seed))
        told += ["--empty-room", str(path)]
    assert run(["analyse", str(log), "--room-volume-m3", "30", "--json", *told]) == 0
    assert _json(capsys)["channels"]["pm1"]["natural_decay_per_h"]["value"] == pytest.approx(0.5, rel=0.1)


@pytest.mark.parametrize("code_page", ["cp437", "cp932", "ascii"])
def test_a_code_page_without_a_letter_gets_its_escape(log: Path, monkeypatch: pytest.MonkeyPatch, code_page: str):
    """Windows gives a redirected command the code page of the country; none of these has ³."""
    written = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(written, encoding=code_page))
    assert run(["analyse", str(log), "--room-volume-m3", "30", "--natural-decay-per-h", "0.5"]) == 0
    sys.stdout.flush()
    said = written.getvalue().decode(code_page)
    assert "clean air delivery rate 16" in said
    assert "m\\xb3/h" in said


def test_a_reader_that_has_read_enough_ends_the_output_without_an_error(log: Path, monkeypatch: pytest.MonkeyPatch):
    """As `hazefall analyse LOG | head -1` does."""
    reader, writer = os.pipe()
    os.close(reader)
    with open(writer, "w", encoding="utf-8") as output:
        monkeypatch.setattr(sys, "stdout", output)
        assert run(["analyse", str(log), "--room-volume-m3", "30"]) == 1


def test_the_report_is_in_words(log: Path, capsys: pytest.CaptureFixture[str]):
    assert run(["analyse", str(log), "--room-volume-m3", "30", "--natural-decay-per-h", "0.5"]) == 0
    said = capsys.readouterr().out
    assert "run.csv\n  451 readings from 2026-03-02 09:00:00 UTC, 10 s apart; 0 rows skipped" in said
    assert "pm2_5 [µg/m³]" in said
    assert "clean air delivery rate 16" in said
    assert "natural decay           0.5" in said
    assert (
        "  verdict                 usable after a check\n    because: No uncertainty of the natural decay was" in said
    )
    assert "    because: No uncertainty of the room volume was" in said
    assert said.index("verdict") < said.index("total decay")


def test_the_report_of_a_run_that_never_cleared_gives_a_bound(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    path = tmp_path / "slow.csv"
    path.write_bytes(decay_log(0.5, minutes=120))
    assert run(["analyse", str(path), "--room-volume-m3", "30", "--channel", "pm2_5"]) == 0
    said = capsys.readouterr().out
    assert "time to clear           10 µg/m³ not within 1" in said
    assert "natural decay           not known" in said


def test_an_unusable_log_is_answered_with_reasons_and_advice_and_no_result(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    """Twelve per hour, and a reading every ten minutes: the level falls by 86 % between two readings."""
    path = tmp_path / "sparse.csv"
    path.write_bytes(decay_log(12.0, interval_s=600, minutes=120, before_min=30))
    arguments = ["analyse", str(path), "--room-volume-m3", "30", "--channel", "pm2_5", "--natural-decay-per-h", "0.5"]
    assert run(arguments) == 0
    said = capsys.readouterr().out
    assert "  verdict                 unusable: no result is given\n    because: " in said
    assert "    do: Repeat the run with a reading every " in said
    numbers = [line for line in said.split("[µg/m³]")[1].splitlines() if line.startswith("  ") and line[2] != " "]
    assert not [line for line in numbers if line.startswith(("  total decay", "  clean air", "  air ch", "  time to"))]
    assert run([*arguments, "--json"]) == 0
    channel = _json(capsys)["channels"]["pm2_5"]
    assert channel["verdict"]["status"] == "unusable"
    assert channel["verdict"]["advice"][0].startswith("Repeat the run with a reading every ")
    assert channel["total_decay_per_h"] is None
    assert channel["clean_air_delivery_rate_m3_per_h"] is None
    assert channel["standard_clearing_time_min"] is None
    clear = channel["time_to_clear_min"]
    assert [clear[name] for name in ("reached", "value", "not_before", "predicted")] == [False, None, None, None]
    assert set(channel["unit_on_min"]) == {"value", "uncertainty", "low_95", "high_95"}


def test_columns_can_be_assigned(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    path = tmp_path / "odd.csv"
    path.write_bytes(decay_log(6.0, channels=("Haze",), shares=(1.0,)))
    assert run(["analyse", str(path), "--room-volume-m3", "30", "--columns", "Haze=pm2_5", "--json"]) == 0
    assert list(_json(capsys)["channels"]) == ["pm2_5"]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--room-volume-m3", "0"], "--room-volume-m3 is 0; enter a volume above zero."),
        (["--room-volume-m3", "nan"], "--room-volume-m3 is nan; enter a volume above zero."),
        (
            ["--room-volume-m3", "30", "--room-volume-uncertainty-m3", "-1"],
            "--room-volume-uncertainty-m3 is -1; enter a number of zero or above.",
        ),
        (
            ["--room-volume-m3", "30", "--natural-decay-uncertainty-per-h", "0.1"],
            "--natural-decay-uncertainty-per-h needs --natural-decay-per-h too.",
        ),
        (
            ["--room-volume-m3", "30", "--natural-decay-per-h", "inf"],
            "--natural-decay-per-h is inf; enter a finite number per hour.",
        ),
        (
            ["--room-volume-m3", "30", "--natural-decay-per-h", "1", "--natural-decay-uncertainty-per-h", "-1"],
            "--natural-decay-uncertainty-per-h is -1; enter a number of zero or above.",
        ),
        (
            ["--room-volume-m3", "30", "--background", "-2"],
            "--background is -2; enter a number of zero or above, in the channel's unit of measure.",
        ),
        (
            ["--room-volume-m3", "30", "--clear-level", "0"],
            "--clear-level is 0; enter a number above zero, in the channel's unit of measure.",
        ),
        (
            ["--room-volume-m3", "30", "--columns", "Haze"],
            "--columns is 'Haze'; use COLUMN=CHANNEL, such as “Dust [ug]=pm2_5”.",
        ),
        (
            ["--room-volume-m3", "30", "--channel", "voc"],
            "run.csv has no channel 'voc'; its channels are: pm1, pm2_5, pm10.",
        ),
        (["--room-volume-m3", "30", "--unit-on", "soon"], "Unit on is 'soon'; enter an ISO 8601 time such as"),
    ],
)
def test_wrong_arguments_give_status_2_and_a_message(
    log: Path, arguments: list[str], message: str, capsys: pytest.CaptureFixture[str]
):
    assert run(["analyse", str(log), *arguments]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith(f"hazefall analyse: {message}")


@pytest.mark.parametrize("arguments", [[], ["--room-volume-m3", "wide"], ["--room-volume-m3", "30", "--no-such"]])
def test_arguments_that_cannot_be_understood_give_status_2(log: Path, arguments: list[str]):
    with pytest.raises(SystemExit) as stopped:
        run(["analyse", str(log), *arguments])
    assert stopped.value.code == 2


def test_natural_decay_and_empty_room_exclude_one_another(log: Path):
    both = ["--natural-decay-per-h", "0.5", "--empty-room", str(log)]
    with pytest.raises(SystemExit) as stopped:
        run(["analyse", str(log), "--room-volume-m3", "30", *both])
    assert stopped.value.code == 2


def test_a_file_that_is_not_there_gives_status_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    assert run(["analyse", str(tmp_path / "gone.csv"), "--room-volume-m3", "30"]) == 2
    assert "gone.csv cannot be opened: No such file or directory. Check its name and folder." in capsys.readouterr().err


def test_a_file_that_is_no_log_gives_status_3_and_names_file_and_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    path = tmp_path / "bad.csv"
    path.write_text("time,PM2.5 [ug/m3]\nyesterday,5\nnoon,6\nevening,7\n")
    assert run(["analyse", str(path), "--room-volume-m3", "30"]) == 3
    said = capsys.readouterr().err
    assert said.startswith("hazefall analyse: bad.csv, line 1: No table of readings was found")
    assert "“time,PM2.5 [ug/m3]”" in said


def test_a_log_without_a_decay_gives_status_4(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    path = tmp_path / "flat.csv"
    path.write_text("time,PM2.5 [ug/m3]\n2026-01-01T10:00:00Z,5\n2026-01-01T10:00:10Z,6\n2026-01-01T10:00:20Z,7\n")
    assert run(["analyse", str(path), "--room-volume-m3", "30"]) == 4
    assert capsys.readouterr().err.startswith("hazefall analyse: flat.csv has no decay that can be analysed. pm2_5:")


def test_a_zone_that_nobody_knows_is_a_wrong_argument_even_where_no_zone_is_needed(
    log: Path, capsys: pytest.CaptureFixture[str]
):
    assert run(["analyse", str(log), "--room-volume-m3", "30", "--timezone", "Mars/Base"]) == 2
    said = capsys.readouterr().err
    assert "--timezone is 'Mars/Base', which is not a known time zone" in said
    assert "Europe/Berlin" in said


def test_a_box_is_named_where_the_file_holds_several(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    logs = {"north": decay_log(6.0), "south": decay_log(3.0, seed=2)}
    head = logs["north"].decode().splitlines()[0]
    rows = [f"{name},{row}" for name, content in logs.items() for row in content.decode().splitlines()[1:]]
    path = tmp_path / "boxes.csv"
    path.write_text("\n".join([f"device,{head}", *rows]) + "\n", encoding="utf-8")
    asked = ["analyse", str(path), "--room-volume-m3", "30", "--json"]
    assert run(asked) == 3
    said = capsys.readouterr().err
    assert "2 boxes in the column “device”" in said
    assert "Name it with --box." in said
    assert run([*asked, "--box", "south"]) == 0
    found = _json(capsys)["channels"]["pm2_5"]
    assert found["total_decay_per_h"]["value"] == pytest.approx(3.0, rel=0.03)


def test_a_natural_decay_without_uncertainty_is_said_to_be_exact(log: Path, capsys: pytest.CaptureFixture[str]):
    assert run(["analyse", str(log), "--room-volume-m3", "30", "--natural-decay-per-h", "0.5"]) == 0
    said = capsys.readouterr().out
    assert "natural decay           0.500, assumed exact" in said


def test_a_time_that_cannot_be_predicted_is_null_with_a_note(log: Path, capsys: pytest.CaptureFixture[str]):
    asked = ["--room-volume-m3", "30", "--channel", "pm2_5", "--clear-level", "1", "--json"]
    assert run(["analyse", str(log), *asked]) == 0
    found = _json(capsys)["channels"]["pm2_5"]
    assert found["time_to_clear_min"]["predicted"] is None
    note = next(note for note in found["notes"] if note["code"] == "no_predicted_time")
    assert "does not reach the clear level of 1 µg/m³" in note["message"]
