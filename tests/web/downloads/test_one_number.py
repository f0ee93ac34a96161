"""Every number in a title or an alt text of a chart is one that the API gives, rounded as it is shown."""

import re
from typing import Any

import pytest

from app.web.downloads.chart_registry import NAMED_CHARTS

_NUMBER = re.compile(r"(?<![\w.,-])\u2212?\d+(?:\u202f\d{3})*(?:\.\d+)?(?![\w-])")
_DAY = re.compile(r"\d{4}-\d\d-\d\d")

# chart with its query, the answers of the API that hold its numbers, and numbers of the sentence that are no results
CASES = [
    ("ranking", "", ["/api/ranking"], []),
    ("clearing-times", "", ["/api/ranking"], []),
    ("decay-overlay", "", ["/api/ranking", "TRIALS"], [95.0]),
    ("decay-overlay", "unit=1&setting=every", ["/api/ranking?setting=every", "TRIALS"], [95.0]),
    ("cost-bars", "", ["/api/running-cost"], []),
    ("cost-over-years", "", ["/api/running-cost"], []),
    ("cost-over-years", "unit=1,2", ["/api/running-cost"], []),
    ("claims-measured", "unit=1", ["/api/units/1"], []),
    ("price-history", "unit=1", ["/api/units/1"], []),
    ("frontier", "room_area_m2=30", ["/api/ranking?setting=every"], []),
    ("trial-decay", "trial=5", ["/api/trials/5"], []),
    ("room-control", "room=1", ["/api/rooms/1/control-charts"], []),
    ("logger-scatter", "check=1", ["/api/logger-checks/1"], []),
    ("logger-record", "logger=1", ["/api/logger-checks?logger_id=1"], []),
]  # fmt: skip
# These show numbers that no answer of the API holds: differences under varied assumptions, levels of clips, residuals,
# how many averages lie outside their limits, differences of readings; and shares that the API has,
# but in percent and rounded up or down. This bench has no sizes; tests/web/pages/trials/test_rates_by_size.py compares
# those.
NOT_IN_THE_API = {"cost-sensitivity", "sound-spectra", "residuals", "room-ewma", "logger-difference", "planned-runs"}
NOT_IN_THE_API |= {"rates-by-size"}


def test_every_chart_is_a_case_or_says_why_not():
    assert {name for name, *_ in CASES} | NOT_IN_THE_API == set(NAMED_CHARTS)


def _numbers(value: Any) -> list[float]:
    if isinstance(value, dict):
        return [number for part in value.values() for number in _numbers(part)]
    if isinstance(value, list):
        return [float(len(value)), *(number for part in value for number in _numbers(part))]
    return [float(value)] if isinstance(value, int | float) and not isinstance(value, bool) else []


def _is_rounded(text: str, numbers: list[float]) -> bool:
    """Whether some number is shown like this; tens and hundreds may be rounded to the uncertainty."""
    plain = text.replace("\u2212", "-").replace("\u202f", "")
    shown = float(plain)
    decimals = len(plain.partition(".")[2])
    zeros = len(plain) - len(plain.rstrip("0")) if "." not in plain else 0
    half = 0.5 * 10.0 ** (zeros if zeros and shown >= 100 else -decimals)
    bound = [float(int(number)) for number in numbers]
    return any(abs(number - shown) <= half * 1.0001 for number in numbers) or shown in bound


def _without_names(words: str, names: list[str]) -> str:
    for name in sorted(names, key=len, reverse=True):
        words = words.replace(name, "")
    return _DAY.sub("", words)


def _names(client) -> list[str]:
    lines = client.get("/api/ranking?setting=every&limit=500").json()["ranking"]
    units = [f"{line['maker']} {line['model']}" for line in lines]
    settings = [f", {line['setting']['name']}" for line in lines if line["setting"]]
    return units + [f"at {line['setting']['name']} " for line in lines if line["setting"]] + settings + ["PM2.5"]


def _counts(client) -> list[float]:
    """What a reader counts in the ranking: lines, those without a measurable rate, those that did not clear."""
    lines = client.get("/api/ranking?limit=500").json()["ranking"]
    measured = sum(line["measurable"] is False for line in lines)
    open_ended = sum(bool(line["time_to_clear_min"]) and not line["time_to_clear_min"]["reached"] for line in lines)
    costs = client.get("/api/running-cost?limit=500").json()["costs"]
    return [len(lines), measured, open_ended, sum(cost["at_least"] for cost in costs)]


def _trials(client, name: str, query: str) -> list[float]:
    """The trials that the source line of the picture names."""
    source = client.get(f"/charts/{name}.txt?{query}").text.rpartition("Trials ")[2].partition("; ")[0]
    ids = [int(number) for number in re.findall(r"(?<![-\d])\d+(?![-\d])", source)]
    assert ids
    answers = [client.get(f"/api/trials/{number}").json() for number in ids]
    return [*map(float, ids), *(number for answer in answers for number in _numbers(answer["channels"]["pm2_5"]))]


@pytest.mark.parametrize(("name", "query", "answers", "said"), CASES)
def test_titles_and_alt_texts_take_their_numbers_from_the_api(client, demo_bench, name, query, answers, said):
    known = [*said, *_counts(client)]
    for answer in answers:
        if answer == "TRIALS":
            known += _trials(client, name, query)
        else:
            known += _numbers(client.get(answer).json())
    known += (
        [number - other for number in _prices(client) for other in _prices(client)] if name == "price-history" else []
    )
    known += _frontier_size(client, query) if name == "frontier" else []
    figure = client.get(f"/figures/{name}.json?{query}").json()["meta"]
    words = _without_names(f"{figure['title']} {figure['alt_text']}", _names(client))
    found = _NUMBER.findall(words)
    assert found, words
    assert [text for text in found if not _is_rounded(text, known)] == [], words


def _prices(client) -> list[float]:
    return [price["amount"] for price in client.get("/api/units/1").json()["prices"]]


def _frontier_size(client, query: str) -> list[float]:
    """The settings that the chart's own table names one by one."""
    rows = client.get(f"/charts/frontier.csv?{query}").text.splitlines()[1:]
    return [float(sum("beaten by another" not in row for row in rows))]


def test_the_check_finds_a_number_that_is_not_there():
    assert _is_rounded("13.4", [13.41])
    assert not _is_rounded("13.5", [13.41])
    assert _is_rounded("240", [244.6])
    assert not _is_rounded("250", [244.6])


def test_a_unit_page_gives_one_time_for_one_setting(client, demo_bench):
    """Table, picture and fact sheet: the time to 95 % reduction is from all trials, and a curve names its trial."""
    for unit_id in (1, 2, 3, 4):
        page = client.get(f"/units/{unit_id}").text
        words = client.get(f"/figures/decay-overlay.json?unit={unit_id}&setting=every").json()["meta"]["alt_text"]
        lines = client.get("/api/ranking?setting=every&limit=500").json()["ranking"]
        own = [line for line in lines if line["unit_id"] == unit_id and line["standard_clearing_time_min"]]
        times = re.findall(r"([\d.]+)\u00a0min(?! \()", words.partition("Not cleared")[0])
        assert len(times) <= len(own)
        for time in times:
            assert any(_is_rounded(time, [line["standard_clearing_time_min"]["value"]]) for line in own), words
            assert re.search(rf">\s*{re.escape(time)}\s*<", page) or f"{time}" in page
        caption = re.search(r"<figcaption>(.*?)</figcaption>", page, re.DOTALL)
        assert caption
        assert re.search(r"[Tt]rials? \d+", caption.group(1))
        assert " min" not in caption.group(1), "the time of one trial is not the unit's"


def test_a_trial_s_own_time_names_the_trial_and_where_it_started(client, demo_bench):
    meta = client.get("/figures/trial-decay.json?trial=5").json()["meta"]
    stored = client.get("/api/trials/5").json()["channels"]["pm2_5"]
    assert "Trial 5" in meta["title"]
    assert f"From {stored['start_level']:.0f}" in meta["alt_text"]
