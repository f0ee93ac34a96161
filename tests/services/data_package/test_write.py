"""A bench packed into one zip, validated by an independent reader of the standard, and recomputed from raw files."""

import csv
import hashlib
import io
import json
import re
import zipfile
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import Engine, select, update

from app.compute.method import METHOD_VERSION
from app.errors import AlreadyStored, InvalidValue, NotFound
from app.services.adding_trials.add import add_trial
from app.services.data_package.check import check_package
from app.services.data_package.tables import values_from, written
from app.services.data_package.write import write_package, write_package_file
from app.services.logs.trial_fields import NewTrial, TrialMarks
from app.services.logs.trial_kinds import EMPTY_ROOM, UNIT_RUNNING
from app.storage.engine import session_scope
from app.storage.models.bench import Bench, Tariff
from app.storage.models.bench_measurements import PowerMeasurement, SoundMeasurement
from app.storage.models.trials import ChannelResult, Trial
from app.storage.models.units_under_test import SpeedSetting, UnitUnderTest
from tests.conftest import NOW, SmallBench, decay_log


@pytest.fixture
def filled(store: Engine, small_bench: SmallBench) -> SmallBench:
    """Three empty-room runs, three trials of one unit and one of another, with sound, power and a tariff."""
    with session_scope(store) as session:
        where = {
            "room_id": small_bench.room_id,
            "logger_id": small_bench.logger_id,
            "smoke_source_id": small_bench.smoke_source_id,
            "tested_by": "Ann Example",
        }
        other = UnitUnderTest(
            maker="=Maker B", model="Model 2", kind="mechanical filter", serial_number="SN-77", created_at=NOW
        )
        session.add(other)
        session.flush()
        setting = SpeedSetting(unit_under_test_id=other.id, name="one", position=1, is_highest=True)
        session.add(setting)
        session.flush()
        for day in range(3):
            log = decay_log(0.5 + 0.02 * day, seed=day, started_at=NOW + timedelta(days=day))
            add_trial(session, log, f"empty{day}.csv", NewTrial(kind=EMPTY_ROOM, **where), settle=day == 2)
        for day, rate in enumerate((5.8, 6.2, 6.0)):
            log = decay_log(rate, seed=10 + day, started_at=NOW + timedelta(days=3 + day))
            marks = TrialMarks(unit_on_s=910.0) if day == 1 else TrialMarks()
            trial = NewTrial(
                kind=UNIT_RUNNING,
                unit_under_test_id=small_bench.unit_id,
                setting_id=small_bench.high_setting_id,
                marks=marks,
                **where,
            )
            add_trial(session, log, f"run{day}.csv", trial)
        log = decay_log(3.0, seed=20, started_at=NOW + timedelta(days=7))
        trial = NewTrial(kind=UNIT_RUNNING, unit_under_test_id=other.id, setting_id=setting.id, **where)
        add_trial(session, log, "other.csv", trial)
        tariff = Tariff(region="here", currency="USD", price_per_kwh=0.2, valid_from=NOW.date(), standing="own bill")
        session.add(tariff)
        session.flush()
        session.get_one(Bench, 1).tariff_id = tariff.id
        session.add_all(
            [
                SoundMeasurement(
                    unit_under_test_id=small_bench.unit_id,
                    setting_id=small_bench.high_setting_id,
                    level_dba=50.0,
                    background_dba=30.0,
                    distance_m=1.0,
                    measured_on=NOW.date(),
                ),
                PowerMeasurement(
                    unit_under_test_id=small_bench.unit_id,
                    setting_id=small_bench.high_setting_id,
                    power_w=40.0,
                    uncertainty_w=0.5,
                    measured_on=NOW.date(),
                ),
            ]
        )
    return small_bench


@pytest.fixture
def packed(store: Engine, filled: SmallBench, tmp_path: Path) -> Path:
    path = tmp_path / "bench.zip"
    with session_scope(store, writes=False) as session:
        write_package_file(session, path)
    return path


def _bytes(store: Engine, units: list[int] | None = None) -> bytes:
    out = io.BytesIO()
    with session_scope(store, writes=False) as session:
        write_package(session, out, units)
    return out.getvalue()


def _changed(path: Path, target: Path, name: str, old: str, new: str, *, told: bool) -> Path:
    """The package with one text changed in one file; `told`: the descriptor is brought in line, as a forger would."""
    with zipfile.ZipFile(path) as source, zipfile.ZipFile(target, "w") as out:
        contents = {one: source.read(one) for one in source.namelist()}
        text = contents[name].decode()
        assert old in text
        contents[name] = text.replace(old, new, 1).encode()
        if told:
            descriptor = json.loads(contents["datapackage.json"])
            for resource in descriptor["resources"]:
                if resource["path"] == name:
                    resource["hash"] = f"sha256:{hashlib.sha256(contents[name]).hexdigest()}"
                    resource["bytes"] = len(contents[name])
            contents["datapackage.json"] = json.dumps(descriptor).encode()
        for one, content in contents.items():
            out.writestr(one, content)
    return target


@pytest.mark.parametrize("whole", [True, False])
def test_the_package_is_valid_by_the_frictionless_library(store: Engine, filled: SmallBench, tmp_path: Path, whole):
    """Standard: Frictionless Data Package and Table Schema, checked by the library `frictionless`, which also compares
    sizes, hashes, types, primary and foreign keys."""
    from frictionless import validate

    path = tmp_path / "package.zip"
    path.write_bytes(_bytes(store, None if whole else [filled.unit_id]))
    report = validate(str(path), type="package")
    assert report.valid, report.flatten(["name", "rowNumber", "fieldName", "type", "note"])[:5]
    assert len(report.tasks) > 30


def test_the_library_finds_a_table_that_was_changed(packed: Path, tmp_path: Path):
    from frictionless import validate

    changed = _changed(packed, tmp_path / "c.zip", "data/trials.csv", "unit running", "unit walking", told=False)
    report = validate(str(changed), type="package")
    assert not report.valid
    assert {"hash-count"} & {row[0] for row in report.flatten(["type"])}


def test_the_same_data_give_the_same_bytes_and_names_of_people_stay_at_the_desk(store: Engine, filled: SmallBench):
    first = _bytes(store)
    with session_scope(store) as session:
        session.execute(update(ChannelResult).values(computed_at=NOW + timedelta(days=99)))
    assert _bytes(store) == first
    with zipfile.ZipFile(io.BytesIO(first)) as package:
        everything = b"".join(package.read(name) for name in package.namelist())
    assert b"Ann Example" not in everything
    assert b"SN-77" not in everything
    assert b"'=Maker B" in everything  # no spreadsheet takes the name for a formula


@pytest.mark.parametrize(
    "text", ["=1", "+1", "-1", "@A1", "\t=1", "\r=1", "\n=1", "＝1", "＋1", "－1", "＠A1", "'=1", "'＝1"]
)
def test_a_text_that_would_be_a_formula_is_defused_and_read_back(text: str):
    cell = written(text)
    assert cell == f"'{text}"
    assert values_from("rooms", {"name": cell}) == {"name": text}


def test_the_raw_files_are_there_byte_for_byte(packed: Path):
    with zipfile.ZipFile(packed) as package:
        raw = [name for name in package.namelist() if name.startswith("raw/")]
        assert len(raw) == 7
        for name in raw:
            assert Path(name).stem == hashlib.sha256(package.read(name)).hexdigest()
        assert decay_log(5.8, seed=10, started_at=NOW + timedelta(days=3)) in [package.read(name) for name in raw]


@pytest.mark.parametrize("whole", [True, False])
def test_every_number_comes_out_of_the_raw_files_again(store: Engine, filled: SmallBench, tmp_path: Path, whole):
    path = tmp_path / "package.zip"
    path.write_bytes(_bytes(store, None if whole else [filled.unit_id]))
    checked = check_package(path, workers=1)
    assert [finding.message for finding in checked.findings] == []
    assert checked.counted["trials"] == (7 if whole else 6)
    assert checked.counted["readings"] > 2000
    assert checked.counted["numbers_of_results"] > 500
    assert checked.counted["numbers_of_published"] > 50


def test_a_result_that_was_changed_is_found_even_when_the_hash_was_brought_in_line(
    store: Engine, packed: Path, tmp_path: Path
):
    with session_scope(store) as session:
        rate = session.scalars(
            select(ChannelResult.clean_air_delivery_rate_m3_per_h).where(
                ChannelResult.trial_id == 5, ChannelResult.channel == "pm2_5"
            )
        ).one()
    name = "results/channel_results.csv"
    changed = _changed(packed, tmp_path / "c.zip", name, repr(rate), repr(rate * 1.1), told=True)
    checked = check_package(changed, workers=1)
    assert not checked.sound
    assert [finding.message for finding in checked.findings] == [
        f"{name}: trial 5, pm2_5, clean_air_delivery_rate_m3_per_h: the package has {rate * 1.1!r}, the raw files "
        f"give {rate!r}."
    ]


def test_a_reading_a_power_and_a_mark_that_were_changed_are_found(packed: Path, tmp_path: Path):
    with zipfile.ZipFile(packed) as package:
        second = package.read("readings/log_4.csv").decode().splitlines()[1]
    reading = _changed(packed, tmp_path / "r.zip", "readings/log_4.csv", second, second[:-1] + "9", told=True)
    [finding] = check_package(reading, workers=1).findings
    assert "1 of" in finding.message
    assert "readings/log_4.csv differ from the raw file" in finding.message

    power = _changed(packed, tmp_path / "p.zip", "data/power_measurements.csv", "40.0", "20.0", told=True)
    found = [finding.message for finding in check_package(power, workers=1).findings]
    assert any("power_w: the package has 40.0, the raw files give 20.0" in message for message in found)
    assert any("running_cost_per_year" in message for message in found)

    mark = _changed(packed, tmp_path / "m.zip", "data/trials.csv", "910.0", "1400.0", told=True)
    found = [finding.message for finding in check_package(mark, workers=1).findings]
    assert any("results/channel_results.csv: trial 5, pm2_5, " in message for message in found)
    assert any(re.search(r"and \d+ smaller differences", message) for message in found)
    assert not any("trial 4, " in message for message in found)


def test_a_sound_level_lowered_by_10_db_and_hashed_again_is_caught_by_the_digest_alone(packed: Path, tmp_path: Path):
    """Nothing in the package recomputes it, so the check lists it as entered."""
    as_made = check_package(packed, workers=1)
    assert as_made.as_entered["sound levels"] > 0
    assert as_made.as_entered["power levels without a log"] > 0
    assert "method.md" in as_made.hashed
    assert not any(path.startswith(("raw/", "data/", "results/")) for path in as_made.hashed)
    with zipfile.ZipFile(packed) as package:
        rows = list(csv.DictReader(io.StringIO(package.read("data/sound_measurements.csv").decode())))
    level = rows[0]["level_dba"]
    name, lower = "data/sound_measurements.csv", str(float(level) - 10)
    forged = _changed(packed, tmp_path / "s.zip", name, f",{level},", f",{lower},", told=True)
    alone, compared = check_package(forged, workers=1), check_package(forged, workers=1, digest=as_made.digest)
    assert not [finding for finding in alone.findings if "sound_measurements" in finding.message]
    assert not compared.sound
    assert "it is not the package that was made, and values as entered may have been altered" in next(
        finding.message for finding in compared.findings if finding.subject == "digest"
    )
    assert check_package(packed, workers=1, digest=as_made.digest.upper()).sound


def test_a_file_that_was_changed_or_is_missing_or_was_added_is_named(packed: Path, tmp_path: Path):
    changed = _changed(packed, tmp_path / "c.zip", "method.md", "decay", "DECAY", told=False)
    [finding] = check_package(changed).findings
    assert finding.message.startswith("method.md holds ")
    assert "changed after packing" in finding.message

    missing = tmp_path / "m.zip"
    with zipfile.ZipFile(packed) as source, zipfile.ZipFile(missing, "w") as out:
        for name in source.namelist():
            if name != "README.md":
                out.writestr(name, source.read(name))
        out.writestr("more.txt", "more")
    assert [finding.message for finding in check_package(missing).findings] == [
        "README.md is missing.",
        "more.txt is in the zip, but the descriptor does not list it.",
    ]


def test_what_is_no_package_is_refused(tmp_path: Path):
    no_zip, empty, other = tmp_path / "a.zip", tmp_path / "b.zip", tmp_path / "c.zip"
    no_zip.write_text("no zip")
    with zipfile.ZipFile(empty, "w") as out:
        out.writestr("a.txt", "a")
    with zipfile.ZipFile(other, "w") as out:
        out.writestr("datapackage.json", '{"name": "x", "resources": []}')
    with pytest.raises(InvalidValue, match=r"a\.zip cannot be read as a zip file: .* Choose a data package\."):
        check_package(no_zip)
    with pytest.raises(InvalidValue, match=r"b\.zip holds no datapackage\.json, so it is not a data package"):
        check_package(empty)
    with pytest.raises(InvalidValue, match=r"c\.zip is a data package from another program"):
        check_package(other)


@pytest.mark.parametrize(
    ("descriptor", "message"),
    [
        (b"[" * 100_000, r"is not a data package of this program: datapackage\.json is nested too deeply\. Pack it"),
        (b'{"hazefall": {}, "resources": [5]}', "is a data package from another program"),
        (b'{"hazefall": {}', "is not a data package of this program: Expecting ',' delimiter"),
        (b" " * 50_000_001, r"holds a datapackage\.json of 50000001 bytes; at most 50000000 are read\. Choose"),
    ],
    ids=["nested", "no files", "cut off", "a bomb"],
)
def test_a_hostile_descriptor_is_refused(tmp_path: Path, descriptor: bytes, message: str):
    hostile = tmp_path / "h.zip"
    with zipfile.ZipFile(hostile, "w", zipfile.ZIP_DEFLATED) as out:
        out.writestr("datapackage.json", descriptor)
    with pytest.raises(InvalidValue, match=message):
        check_package(hostile)


def test_a_package_with_broken_rows_is_refused(packed: Path, tmp_path: Path):
    broken = _changed(packed, tmp_path / "b.zip", "data/rooms.csv", "30.0", "thirty", told=True)
    with pytest.raises(InvalidValue, match="is not a data package of this program: could not convert string to float"):
        check_package(broken)


def test_units_that_are_not_there_cannot_be_packed(store: Engine, filled: SmallBench, tmp_path: Path):
    with session_scope(store, writes=False) as session:
        with pytest.raises(NotFound, match="There is no unit under test 99 in this bench"):
            write_package(session, io.BytesIO(), [99])
        with pytest.raises(InvalidValue, match=r"There are no units to package\. Add a trial first"):
            write_package(session, io.BytesIO(), [])
        with pytest.raises(
            InvalidValue, match=r"cannot be written: No such file or directory\. Choose another location"
        ):
            write_package_file(session, tmp_path / "none" / "a.zip")


def test_what_lies_in_the_trash_stays_out(store: Engine, filled: SmallBench, tmp_path: Path):
    with session_scope(store) as session:
        session.execute(update(Trial).where(Trial.id == 7).values(trashed_at=NOW))
    with zipfile.ZipFile(io.BytesIO(_bytes(store))) as package:
        assert package.read("data/trials.csv").decode().count("unit running") == 3
        assert len([name for name in package.namelist() if name.startswith("raw/")]) == 6


def test_a_package_names_the_method_that_made_its_numbers_and_not_the_program_s(
    store: Engine, filled: SmallBench, tmp_path: Path
):
    with session_scope(store) as session:
        session.execute(update(ChannelResult).values(method_version="0.9"))
    path = tmp_path / "old.zip"
    path.write_bytes(_bytes(store))
    checked = check_package(path, workers=1)
    assert checked.sound  # the numbers come out all the same
    assert [finding.message for finding in checked.findings] == [
        f"The package was made by method 0.9; this program has {METHOD_VERSION}, so numbers may differ "
        f"for this reason alone."
    ]


def test_only_an_older_package_is_replaced(store: Engine, filled: SmallBench, tmp_path: Path):
    out = tmp_path / "out.zip"
    with session_scope(store, writes=False) as session:
        write_package_file(session, out)
        write_package_file(session, out)
        for content in (b"SQLite format 3\0 a backup", _zip_of({"photos.txt": b"mine"})):
            out.write_bytes(content)
            with pytest.raises(AlreadyStored, match="already exists and is not a data package"):
                write_package_file(session, out)
            assert out.read_bytes() == content


def _zip_of(files: dict[str, bytes]) -> bytes:
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w") as target:
        for name, held in files.items():
            target.writestr(name, held)
    return content.getvalue()
