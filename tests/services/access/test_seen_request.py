"""What is said about a request through the network, for each way in which a proxy can be set up wrongly."""

import json
from dataclasses import replace

import pytest

from app.services.access.seen_request import SeenRequest, request_problems, seen_from

GOOD = SeenRequest("https", "bench.example", "192.0.2.7", "10.0.0.2", True, ("x-forwarded-for",), True)
DIRECT = SeenRequest("http", "127.0.0.1:8000", "127.0.0.1", "127.0.0.1", False)


@pytest.mark.parametrize(
    ("seen", "address"),
    [
        (GOOD, "https://bench.example/"),
        (GOOD, "https://bench.example:443/"),
        (replace(GOOD, host="bench.example:8443"), "https://Bench.example:8443"),
        (GOOD, ""),
        (DIRECT, "http://127.0.0.1:8000/"),
        (DIRECT, ""),
    ],
)
def test_a_right_set_up_has_no_problem(seen: SeenRequest, address: str):
    assert request_problems(seen, address) == []


UNTRUSTED = replace(GOOD, scheme="http", through_trusted_proxy=False, client_address="10.0.0.2")


@pytest.mark.parametrize(
    ("seen", "address", "said"),
    [
        (UNTRUSTED, "https://bench.example", "but 10.0.0.2 is not a trusted proxy, so the header was ignored"),
        (UNTRUSTED, "", "start the server with HAZEFALL_TRUSTED_PROXIES=10.0.0.2."),
        (
            replace(UNTRUSTED, says_https=False, forwarding_headers=()),
            "https://bench.example",
            "The address begins with https, but the bench sees http from 10.0.0.2, which is not a trusted proxy.",
        ),
        (replace(GOOD, scheme="http", says_https=False), "https://bench.example", "set the header “X-Forwarded-Proto"),
        (replace(DIRECT, client_address="192.0.2.7", host="bench.example"), "", "The connection is not encrypted"),
        (replace(DIRECT, host="bench.example"), "http://bench.example", "The connection is not encrypted"),
        (replace(GOOD, host="127.0.0.1:8000"), "https://bench.example", "the bench sees 127.0.0.1:8000"),
        (replace(GOOD, host="bench.example"), "https://bench.example:8443", "pass the host with its port"),
        (
            replace(GOOD, forwarding_headers=("via",)),
            "https://bench.example",
            "does not name the client",
        ),
        (replace(DIRECT, forwarding_headers=("via",)), "", "has headers of a proxy (via), but"),
    ],
)
def test_each_fault_is_named_with_what_to_do(seen: SeenRequest, address: str, said: str):
    (problem,) = [problem for problem in request_problems(seen, address) if said in problem]
    assert problem.endswith(".")


def test_a_request_survives_its_document():
    assert seen_from(json.loads(json.dumps(GOOD.document()))) == GOOD
