"""Network policy: without an account, a bench is reachable only from its own machine."""

from ipaddress import ip_address

from sqlalchemy import Engine, make_url

from app.errors import AccountNeeded
from app.services.access.authenticate import has_accounts
from app.settings import Settings


def require_account_for_network(settings: Settings, engine: Engine) -> None:
    """Raises AccountNeeded if the bench would be reachable by others and has no account.

    Allowed hosts and trusted proxies are for a bench behind a proxy, so they count whatever they name.
    """
    others = [settings.host] if not is_own_machine(settings.host) else []
    others += [f"HAZEFALL_ALLOWED_HOSTS={name}" for name in settings.allowed_hosts]
    if not others or has_accounts(engine):
        return
    if settings.database_url:
        where = f"--database {make_url(settings.database_url).render_as_string(hide_password=True)}"
    else:
        where = f"--data {settings.data_folder}"
    raise AccountNeeded(
        f"The bench would be reachable by others ({', '.join(others)}), but it has no account. Add one first: "
        f"hazefall account add NAME --role administer {where}. Without an account, a bench is only served on "
        "127.0.0.1, without a proxy."
    )


def is_own_machine(name: str) -> bool:
    """Whether an address or host name refers to this machine only (loopback).

    >>> is_own_machine("127.0.0.1"), is_own_machine("[::1]"), is_own_machine("0.0.0.0"), is_own_machine("bench.example")
    (True, True, False, False)
    """
    plain = name.strip("[]").lower()
    if plain == "localhost":
        return True
    try:
        return ip_address(plain).is_loopback
    except ValueError:
        return False
