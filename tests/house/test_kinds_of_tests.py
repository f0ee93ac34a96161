"""The list of what runs on both kinds of store names tests that are there."""

import re
from pathlib import Path

from tests.conftest import ON_BOTH

ROOT = Path(__file__).parents[2]


def test_what_runs_on_both_kinds_of_store_is_there():
    for named in ON_BOTH:
        path, _, start = named.partition("::")
        assert (ROOT / path).exists(), named
        if start:
            assert re.search(rf"^def {start}", (ROOT / path).read_text(), re.MULTILINE), named
