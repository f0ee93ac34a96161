"""`hazefall account`: who may use the bench."""

import argparse
import sys
from getpass import getpass

from sqlalchemy.orm import Session

from app.command_line.bench_folder import add_folder_argument, settings_from, settings_of_present_bench
from app.errors import InvalidValue
from app.services.access.roles import ROLES, WORDS


def add_arguments(parser: argparse.ArgumentParser) -> None:
    actions = parser.add_subparsers(dest="action", required=True, metavar="ACTION")
    roles = "; ".join(f"{role}: {words}" for role, words in WORDS.items())
    adding = actions.add_parser("add", help="add an account; prompts for the password, or reads it from standard input")
    adding.add_argument("name", metavar="NAME")
    adding.add_argument("--role", choices=ROLES, required=True, help=roles)
    role = actions.add_parser("role", help="change the role of an account")
    role.add_argument("name", metavar="NAME")
    role.add_argument("role", metavar="ROLE", choices=ROLES, help=roles)
    for action, what in (
        ("password", "set a new password for an account and end its sessions"),
        ("disable", "disable an account: ends its sessions and invalidates its tokens"),
        ("enable", "enable a disabled account"),
    ):
        actions.add_parser(action, help=what).add_argument("name", metavar="NAME")
    actions.add_parser("list", help="list the accounts")
    for each in actions.choices.values():
        each.add_argument("--who", default="", help="your name, for the history")
        add_folder_argument(each)


def run(arguments: argparse.Namespace) -> int:
    from app.services.store.open import open_store
    from app.storage.engine import session_scope

    # the first account may be created before anything else
    settings = settings_from(arguments) if arguments.action == "add" else settings_of_present_bench(arguments)
    engine = open_store(settings)
    try:
        # ask before locking the store, because typing takes time
        password = _password() if arguments.action in ("add", "password") else ""
        with session_scope(engine, writes=arguments.action != "list") as session:
            print(_done(session, arguments, password))
    finally:
        engine.dispose()
    return 0


def _done(session: Session, arguments: argparse.Namespace, password: str) -> str:
    """Performs the action and returns a message."""
    from app.services.access import accounts
    from app.services.access.sign_in_throttle import forget_attempts

    if arguments.action == "list":
        rows = accounts.list_accounts(session)
        lines = [f"{row.name}: {row.role}{', disabled' if row.disabled_at else ''}" for row in rows]
        return "\n".join(lines) or "There are no accounts; one person uses this bench, on its own computer."
    if arguments.action == "add":
        accounts.add_account(session, arguments.name, arguments.role, password, who=arguments.who)
        return f"{arguments.name} can now sign in, with the role {arguments.role!r}."
    account = accounts.account_named(session, arguments.name)
    if arguments.action == "role":
        accounts.change_role(session, account.id, arguments.role, who=arguments.who)
        return f"{account.name} now has the role {arguments.role!r}."
    if arguments.action == "password":
        accounts.set_password(session, account.id, password, who=arguments.who)
        forget_attempts(session, name=account.name)
        return f"{account.name} has a new password; all sessions of the account have ended."
    if arguments.action == "disable":
        accounts.disable_account(session, account.id, who=arguments.who)
        return f"{account.name} can no longer sign in."
    accounts.enable_account(session, account.id, who=arguments.who)
    return f"{account.name} can sign in again."


def _password() -> str:
    """The password: typed twice without echo, or the first line of standard input if not a terminal."""
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    password = getpass("Password: ")
    if getpass("Again: ") != password:
        raise InvalidValue("The two passwords differ. Nothing was saved; enter them again.", field="password")
    return password
