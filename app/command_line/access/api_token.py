"""`hazefall token`: API tokens for scripts."""

import argparse

from app.command_line.bench_folder import add_folder_argument, settings_of_present_bench
from app.services.access.roles import ROLES


def add_arguments(parser: argparse.ArgumentParser) -> None:
    actions = parser.add_subparsers(dest="action", required=True, metavar="ACTION")
    adding = actions.add_parser("add", help="create a token and print it once")
    adding.add_argument("account", metavar="ACCOUNT", help="account for the script")
    adding.add_argument("name", metavar="PURPOSE", help="purpose of the token, such as “logger upload job”")
    adding.add_argument("--role", choices=ROLES, default="add", help="role of the token (default: add)")
    actions.add_parser("list", help="list the tokens with their numbers")
    revoking = actions.add_parser("revoke", help="revoke a token permanently")
    revoking.add_argument("number", metavar="NUMBER", type=int, help="its number in the list")
    for each in actions.choices.values():
        each.add_argument("--who", default="", help="your name, for the history")
        add_folder_argument(each)


def run(arguments: argparse.Namespace) -> int:
    from app.services.access.accounts import account_named, list_accounts
    from app.services.access.api_tokens import add_api_token, list_api_tokens, revoke_api_token
    from app.services.store.open import open_store
    from app.storage.engine import session_scope

    engine = open_store(settings_of_present_bench(arguments))
    try:
        with session_scope(engine, writes=arguments.action != "list") as session:
            if arguments.action == "add":
                account = account_named(session, arguments.account)
                print(add_api_token(session, account.id, arguments.name, arguments.role, who=arguments.who))
            elif arguments.action == "revoke":
                revoke_api_token(session, arguments.number, who=arguments.who)
                print(f"Token {arguments.number} is revoked.")
            else:
                names = {account.id: account.name for account in list_accounts(session)}
                for token in list_api_tokens(session):
                    state = f"revoked {token.revoked_at:%Y-%m-%d}" if token.revoked_at else "holds"
                    print(f"{token.id}: {token.name}, {names[token.account_id]}, {token.role}, {state}")
    finally:
        engine.dispose()
    return 0
