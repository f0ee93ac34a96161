"""`hazefall account` and `hazefall token`, and the refusal to serve others without an account."""

import io
import re
import sys
from pathlib import Path

import pytest

from app.command_line.access import account as account_command
from app.command_line.main import run
from app.settings import Settings
from tests.faults.real_process import run_command

PASSWORD = "several words in a row"


@pytest.fixture
def command(settings: Settings, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch):
    """Runs a command on the bench and gives status, output and message; the password comes by standard input."""

    def run_it(*arguments: str, typed: str = PASSWORD):
        monkeypatch.setattr(sys, "stdin", io.StringIO(typed + "\n"))
        status = run([*arguments, "--data", str(settings.data_folder)])
        captured = capsys.readouterr()
        return status, captured.out, captured.err

    return run_it


def test_accounts_are_added_listed_and_changed(command):
    assert command("account", "list")[1].startswith("There are no accounts; one person uses this bench")
    assert command("account", "add", "Ann", "--role", "administer") == (
        0,
        "Ann can now sign in, with the role 'administer'.\n",
        "",
    )
    assert command("account", "add", "Bea", "--role", "add", "--who", "Ann")[0] == 0
    assert command("account", "role", "bea", "edit")[1] == "Bea now has the role 'edit'.\n"
    assert command("account", "password", "Bea", typed="another few words")[1].startswith("Bea has a new password")
    assert command("account", "disable", "Bea")[1] == "Bea can no longer sign in.\n"
    assert command("account", "list")[1] == "Ann: administer\nBea: edit, disabled\n"
    assert command("account", "enable", "Bea")[1] == "Bea can sign in again.\n"


def test_a_wrong_account_is_told_with_the_status_of_wrong_arguments(command):
    status, _, message = command("account", "add", "Ann", "--role", "view")
    assert (status, message) == (
        2,
        "hazefall account: The first account cannot have the role 'view'; it needs the role 'administer' so that it "
        "can manage the others.\n",
    )
    status, _, message = command("account", "add", "Ann", "--role", "administer", typed="short")
    assert status == 2
    assert "The password has 5 characters; it needs at least 12" in message
    assert command("account", "disable", "Cy")[2] == (
        "hazefall account: There is no account 'Cy' in this bench. Choose one from the list.\n"
    )


def test_a_typed_password_is_asked_for_twice_and_not_shown(command, monkeypatch: pytest.MonkeyPatch):
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    typed = [PASSWORD, "something else", PASSWORD, PASSWORD]
    monkeypatch.setattr(account_command, "getpass", lambda prompt: typed.pop(0))
    monkeypatch.setattr(io, "StringIO", Terminal)
    status, _, message = command("account", "add", "Ann", "--role", "administer")
    assert (status, message) == (
        2,
        "hazefall account: The two passwords differ. Nothing was saved; enter them again.\n",
    )
    assert command("account", "add", "Ann", "--role", "administer")[0] == 0
    assert typed == []


def test_tokens_are_made_listed_and_revoked(command):
    command("account", "add", "Ann", "--role", "administer")
    status, token, _ = command("token", "add", "Ann", "upload job")
    assert status == 0
    assert re.fullmatch(r"hazefall_[\w-]{43}\n", token)
    assert command("token", "list")[1] == "1: upload job, Ann, add, holds\n"
    assert command("token", "revoke", "1")[1] == "Token 1 is revoked.\n"
    assert re.fullmatch(r"1: upload job, Ann, add, revoked \d{4}-\d\d-\d\d\n", command("token", "list")[1])
    assert command("token", "revoke", "9")[0] == 2
    assert command("token", "add", "Cy", "job")[0] == 2


@pytest.mark.parametrize("host", ["0.0.0.0", "192.0.2.1", "::"])
def test_a_bench_without_an_account_is_not_served_to_others(tmp_path: Path, host: str):
    served = run_command("serve", "--host", host, "--port", "0", "--data", str(tmp_path))
    assert served.returncode == 1
    assert served.stdout == ""
    assert served.stderr == (
        f"hazefall serve: The bench would be reachable by others ({host}), but it has no account. Add one first: "
        f"hazefall account add NAME --role administer --data {tmp_path}. Without an account, a bench is only served "
        "on 127.0.0.1, without a proxy.\n"
    )
