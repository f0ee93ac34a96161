"""The lists of what runs on both kinds of store, and of what is quick, name tests that are there."""

import re
from pathlib import Path

from tests.conftest import ON_BOTH, QUICK

ROOT = Path(__file__).parents[2]


def test_what_the_lists_name_is_there():
    for named in (*ON_BOTH, *QUICK):
        path, _, start = named.partition("::")
        assert (ROOT / path).exists(), named
        if start:
            assert re.search(rf"^def {start}", (ROOT / path).read_text(), re.MULTILINE), named
