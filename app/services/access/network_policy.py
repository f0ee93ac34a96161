"""Network policy: without an account, a bench is reachable only from its own machine."""

from ipaddress import IPv6Address, ip_address

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
    others += [f"HAZEFALL_TRUSTED_PROXIES={address}" for address in settings.trusted_proxies]
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


def plain_address(address: str) -> str:
    """An address in one spelling: IPv4 stays IPv4 on a socket that listens to both kinds.

    >>> plain_address("::ffff:192.0.2.1"), plain_address("FD00::1"), plain_address("no address")
    ('192.0.2.1', 'fd00::1', 'no address')
    """
    try:
        parsed = ip_address(address)
    except ValueError:
        return address
    mapped = parsed.ipv4_mapped if isinstance(parsed, IPv6Address) else None
    return str(mapped or parsed)


def is_address(text: str) -> bool:
    try:
        ip_address(text)
    except ValueError:
        return False
    return True


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
