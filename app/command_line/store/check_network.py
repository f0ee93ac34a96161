"""`hazefall check --network URL`: what the bench sees of a request to this address, and what is wrong."""

import json
import urllib.error
import urllib.request
from pathlib import Path
from urllib.parse import urljoin, urlsplit

from app.errors import InvalidValue, StoreProblem
from app.services.access.local_secret import NETWORK_CHECK, new_link_token
from app.services.access.seen_request import SeenRequest, request_problems, seen_from

_ANSWERS_WITHIN_S = 20


def check_network(folder: Path, url: str, *, has_accounts: bool) -> int:
    """Prints what the bench sees; status 0 if all is well, 1 if something is wrong.

    The bench knows the request by a token that works once, which this command leaves in its folder.
    """
    parts = urlsplit(url)
    if parts.scheme not in ("http", "https") or not parts.hostname:
        raise InvalidValue(f"{url!r} is not the address of a bench; enter one such as https://bench.example/.")
    seen = _ask(urljoin(url, "/api/network"), new_link_token(folder, NETWORK_CHECK))
    through = "a trusted proxy" if seen.through_trusted_proxy else "no trusted proxy"
    print(f"{url}: the bench sees scheme {seen.scheme}, host {seen.host}, client address {seen.client_address}")
    print(f"The connection came from {seen.connected_from}, {through}.")
    problems = request_problems(seen, url)
    for problem in problems:
        print(f"WRONG: {problem}")
    if not has_accounts:
        print(
            "note: This bench has no account, so it answers nobody but its secret's owner at its own address, and "
            "nobody through a proxy."
        )
    if not problems:
        print("The network is OK.")
    return 1 if problems else 0


class _NoRedirects(urllib.request.HTTPRedirectHandler):
    """The answer itself is wanted; a token is not sent on to wherever it points."""

    def redirect_request(self, *_: object) -> None:
        return None


def _ask(address: str, token: str) -> SeenRequest:
    request = urllib.request.Request(address, headers={"Authorization": f"Bearer {token}"})
    try:
        with urllib.request.build_opener(_NoRedirects).open(request, timeout=_ANSWERS_WITHIN_S) as answer:
            return seen_from(json.loads(answer.read())["seen"])
    except urllib.error.HTTPError as error:
        raise StoreProblem(_refused(address, error)) from error
    except OSError as error:  # also a certificate that is not valid
        reason = error.reason if isinstance(error, urllib.error.URLError) else error
        raise StoreProblem(
            f"{address} does not answer: {reason}. Start the server and its proxy, and check name, port and "
            "certificate."
        ) from error
    except (ValueError, KeyError, TypeError) as error:
        raise StoreProblem(
            f"{address} answered, but not as a bench does. The address belongs to another program; correct it."
        ) from error


def _refused(address: str, error: urllib.error.HTTPError) -> str:
    if error.code in (301, 302, 307, 308):
        return f"{address} leads to {error.headers.get('Location')}. Check that address instead."
    try:
        detail = json.loads(error.read())["detail"]
    except (ValueError, KeyError, TypeError):
        return f"{address} answered with status {error.code}, and not as a bench does. Check the proxy and the address."
    return f"{address} answered with status {error.code}: {detail}"
