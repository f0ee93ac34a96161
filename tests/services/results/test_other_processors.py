"""The results of a trial on another processor, by the same means as the study."""

import platform
import re

import pytest

from app.services.results.rows import SAME_WITHIN
from tests.studies.intervals.other_processors import RESULT, analysed, analysed_as_by, differences

LOGS = 20


@pytest.mark.skipif(platform.machine() not in ("x86_64", "AMD64"), reason="only such processors can be imitated")
def test_results_of_an_older_processor_count_as_the_same():
    largest, texts = differences(analysed(LOGS), analysed_as_by("SSE3", LOGS))
    assert texts == 0
    assert max(largest.values()) < SAME_WITHIN / 3
    assert max(largest.values()) > 0  # it did add in another order


def test_the_study_says_what_is_said_of_it():
    """In the README and beside `SAME_WITHIN`."""
    found: dict[str, float] = {}
    for name, largest in re.findall(r"^  (\w+) +(\S+e\S+)$", RESULT.read_text(encoding="utf-8"), re.MULTILINE):
        found[name] = max(found.get(name, 0.0), float(largest))
    assert RESULT.read_text(encoding="utf-8").startswith("2000 simulated logs")
    assert max(found.values()) < 4e-5 == 0.4 * SAME_WITHIN
    assert found["total_decay_per_h"] < 2e-8
