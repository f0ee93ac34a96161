"""Licence of the published data: an identifier or an address that a machine can read."""

import pytest

from app.errors import InvalidValue
from app.services.bench.branding import licence_name


@pytest.mark.parametrize("name", ["", "CC-BY-4.0", "CC0-1.0", "https://creativecommons.org/licenses/by/4.0/"])
def test_an_identifier_an_address_or_nothing_is_kept(name: str):
    assert licence_name(name, "licence", "The licence") == name


@pytest.mark.parametrize("name", ["all rights reserved by me", '"><script>', "javascript:alert(1)"])
def test_anything_else_is_refused(name: str):
    with pytest.raises(InvalidValue, match=r"The licence is .*; enter an SPDX identifier such as CC-BY-4\.0"):
        licence_name(name, "licence", "The licence")
