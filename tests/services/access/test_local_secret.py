"""The secret of a bench without accounts: who can read it, links that work once, passes that expire."""

import os
import stat
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from app.errors import StoreProblem
from app.services.access.local_secret import (
    LINK_VALID_FOR,
    PASS_VALID_FOR,
    bench_mark,
    browser_pass,
    ensure_secret,
    is_browser_pass,
    is_secret,
    new_link_token,
    read_secret,
    secret_file,
    use_link_token,
)

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
posix_only = pytest.mark.skipif(os.name != "posix", reason="file modes are a matter of POSIX systems")


@posix_only
def test_only_the_owner_can_read_the_file_whatever_the_umask(tmp_path: Path):
    before = os.umask(0)
    try:
        ensure_secret(tmp_path)
        new_link_token(tmp_path)
    finally:
        os.umask(before)
    assert stat.S_IMODE(secret_file(tmp_path).stat().st_mode) == 0o600
    (links,) = [path for path in tmp_path.iterdir() if path.is_dir()]
    assert stat.S_IMODE(links.stat().st_mode) == 0o700
    assert {path.name for path in tmp_path.iterdir()} == {"local-secret", links.name}  # nothing unfinished


def test_the_secret_stays_the_same_from_start_to_start(tmp_path: Path):
    first = ensure_secret(tmp_path)
    assert ensure_secret(tmp_path) == first == read_secret(tmp_path)
    assert len(first) >= 43
    assert is_secret(tmp_path, first)
    assert not is_secret(tmp_path, first[:-1])


@posix_only
def test_a_secret_that_others_could_read_is_replaced(tmp_path: Path):
    first = ensure_secret(tmp_path)
    secret_file(tmp_path).chmod(0o640)
    assert ensure_secret(tmp_path) != first
    assert not is_secret(tmp_path, first)


@pytest.mark.parametrize("content", ["", "short", "ä" * 50])
def test_a_file_that_holds_no_secret_lets_nobody_in(tmp_path: Path, content: str):
    secret_file(tmp_path).write_text(content, encoding="utf-8")
    assert read_secret(tmp_path) == ""
    assert not is_secret(tmp_path, content)
    assert not is_secret(tmp_path, "")
    assert not is_browser_pass(read_secret(tmp_path), browser_pass(""))


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path):
    folder = tmp_path / "missing"
    with pytest.raises(StoreProblem, match=r"cannot be written to .*local-secret: No such file.*write permission"):
        ensure_secret(folder)


def test_a_link_works_once_even_for_many_at_one_moment(tmp_path: Path):
    token = new_link_token(tmp_path)
    with ThreadPoolExecutor(8) as pool:
        let_in = list(pool.map(lambda _: use_link_token(tmp_path, token), range(32)))
    assert let_in.count(True) == 1
    assert not use_link_token(tmp_path, token)


@pytest.mark.parametrize("token", ["", "x", "../local-secret", "a" * 5000, "\udcff"])
def test_a_made_up_link_works_for_nobody(tmp_path: Path, token: str):
    ensure_secret(tmp_path)
    new_link_token(tmp_path)
    assert not use_link_token(tmp_path, token)
    assert read_secret(tmp_path)


def test_a_link_expires_and_is_cleared_away(tmp_path: Path):
    token = new_link_token(tmp_path)
    (path,) = (tmp_path / "local-links").iterdir()
    past = path.stat().st_mtime - LINK_VALID_FOR.total_seconds() - 10
    os.utime(path, (past, past))
    other = new_link_token(tmp_path)
    assert not path.exists()
    assert not use_link_token(tmp_path, token)
    (path,) = (tmp_path / "local-links").iterdir()
    os.utime(path, (past, past))
    assert not use_link_token(tmp_path, other)


def test_a_pass_ends_after_its_days_and_cannot_be_prolonged():
    secret = "s" * 40
    made = browser_pass(secret, NOW)
    assert is_browser_pass(secret, made, NOW + PASS_VALID_FOR)
    assert not is_browser_pass(secret, made, NOW + PASS_VALID_FOR + timedelta(seconds=1))
    ends, _, signature = made.partition(".")
    assert not is_browser_pass(secret, f"{int(ends) + 9}.{signature}", NOW)


@pytest.mark.parametrize("given", ["", ".", "x.y", "9" * 4000 + ".x", "-1.x", "٣.x", "9999999999.é"])
def test_a_made_up_pass_lets_nobody_in(given: str):
    assert not is_browser_pass("s" * 40, given, NOW)


def test_two_benches_have_two_marks():
    assert bench_mark("a" * 40) != bench_mark("b" * 40)
