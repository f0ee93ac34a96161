"""The results of a trial on another processor, by the same means as the study."""

import platform

import pytest

from app.services.results.rows import SAME_WITHIN
from tests.studies.intervals.other_processors import analysed, analysed_as_by, differences

LOGS = 20


@pytest.mark.skipif(platform.machine() not in ("x86_64", "AMD64"), reason="only such processors can be imitated")
def test_results_of_an_older_processor_count_as_the_same():
    largest, texts = differences(analysed(LOGS), analysed_as_by("SSE3", LOGS))
    assert texts == 0
    assert max(largest.values()) < SAME_WITHIN / 3
    assert max(largest.values()) > 0  # it did add in another order
