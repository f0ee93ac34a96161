"""What the drafts of the demonstration bench say is true of its results: facts, not wording."""

import math
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.services.reviews import draft as writing
from app.services.reviews.facts import ReviewFacts, review_facts
from app.services.reviews.other_units import CHEAPER_AND_ALIKE, CHEAPER_AND_WEAKER, lead_of
from app.services.reviews.wording import Draft, Span, plain
from app.services.store.open import open_store
from app.settings import Settings
from app.storage.models.units_under_test import UnitUnderTest


@pytest.fixture(scope="module")
def drafts(whole_demo: Path, tmp_path_factory) -> Iterator[list[tuple[ReviewFacts, Draft]]]:
    """The drafts of all units of the whole demonstration bench: the small one has no close alternatives."""
    folder = tmp_path_factory.mktemp("drafts")
    shutil.copyfile(whole_demo, folder / "bench.sqlite")
    engine = open_store(Settings(folder))
    with Session(engine) as session:
        units = session.scalars(select(UnitUnderTest.id).where(UnitUnderTest.trashed_at.is_(None))).all()
        facts = {unit_id: review_facts(session, unit_id) for unit_id in units}
        with pytest.MonkeyPatch.context() as patch:  # a draft is written from its unit's facts: not collected twice
            patch.setattr(writing, "review_facts", lambda _session, unit_id: facts[unit_id])
            found = [(facts[unit_id], writing.review_draft(session, unit_id)) for unit_id in units]
        yield found
    engine.dispose()


def _all_words(draft: Draft) -> list[tuple[Span, ...]]:
    found = []
    for section in draft.sections:
        found += [*section.paragraphs, *section.items, *(words for _, words in section.facts)]
        found += [point.words for point in section.points]
        found += [cell for row in section.table for cell in row]
    return found


def _text(draft: Draft) -> str:
    return "\n".join(plain(words) for words in _all_words(draft))


def test_a_cheaper_unit_is_called_weaker_where_it_is(drafts):
    weaker = alike = 0
    with_rates = [facts for facts, _ in drafts if facts.highest is not None and facts.highest.has_rate]
    for facts in with_rates:
        rates = {line.row.unit_id: line for line in facts.bench}
        own = facts.highest.row.clean_air_delivery_rate_m3_per_h
        for other in facts.others:
            its = rates[other.unit_id].row.clean_air_delivery_rate_m3_per_h
            if lead_of(other) == CHEAPER_AND_WEAKER:
                weaker += 1
                assert its < own
            elif lead_of(other) == CHEAPER_AND_ALIKE:
                alike += 1
                ends = rates[other.unit_id].row, facts.highest.row
                low, high = ends[0].clean_air_delivery_rate_low_95, ends[0].clean_air_delivery_rate_high_95
                assert low <= ends[1].clean_air_delivery_rate_high_95
                assert high >= ends[1].clean_air_delivery_rate_low_95
    assert weaker > 5
    assert "clearly stronger" not in "".join(_text(draft) for _, draft in drafts)


def test_a_rank_among_all_tested_units_counts_all_of_them(drafts):
    found = 0
    for facts, draft in drafts:
        for number in re.findall(r"rank \d+ of (\d+) tested units", _text(draft)):
            found += 1
            assert int(number) == len(facts.bench)
    assert found > 10


def test_no_digit_of_a_name_is_a_source_link(drafts):
    checked = 0
    for facts, draft in drafts:
        with_digits = [name for name in facts.names if re.search(r"\d", name)]
        for words in _all_words(draft):
            text, at, linked = plain(words), 0, []
            for span in words:
                if span.address:
                    linked.append((at, at + len(span.text)))
                at += len(span.text)
            for name in with_digits:
                for match in re.finditer(re.escape(name), text):
                    checked += 1
                    inside = [ends for ends in linked if match.start() < ends[1] and ends[0] < match.end()]
                    assert all(ends[0] <= match.start() and match.end() <= ends[1] for ends in inside), text
    assert checked > 10


def test_a_claim_with_a_tolerance_names_it(drafts):
    found = 0
    for facts, draft in drafts:
        for entry in facts.known.claims:
            if "claimed" in entry.check.sentence and " about " in entry.check.sentence:
                found += 1
                assert re.search(r"“About” allows a difference of [\d.]+", entry.check.sentence)
                assert entry.check.sentence in _text(draft)
    assert found > 2


def test_an_estimated_level_is_called_estimated(drafts):
    estimated = 0
    for facts, draft in drafts:
        for level in facts.known.sounds:
            if level.level is not None and level.level.estimate:
                estimated += 1
                sound = next(section for section in draft.sections if section.key == "sound")
                words = plain(sound.paragraphs[0])
                of_setting = re.split(r", | and |is ", words[: words.index(f" at “{level.setting.name}”")])[-1]
                assert of_setting.startswith("an estimated ")
    assert estimated > 0


def test_no_sentence_stands_twice_in_a_draft(drafts):
    for _, draft in drafts:
        sentences = [plain(words) for words in _all_words(draft) if plain(words).endswith(".") and len(words) > 1]
        assert len(sentences) == len(set(sentences))
        assert _text(draft).count("the most clean air for the money") <= 1
        text = [plain(words) for words in _all_words(draft)]
        long = [one for words in text for one in re.split(r"(?<=[.!?]) (?=[A-Z“])", words) if len(one) > 40]
        assert len(long) == len(set(long))


def test_one_cost_has_one_rounding(drafts):
    """The cost of the consumables in the weaknesses is that of the section on costs."""
    found = 0
    for _, draft in drafts:
        text = _text(draft)
        expensive = re.search(r"compared with its price: (.+?) per year compared", text)
        if expensive:
            found += 1
            assert f"{expensive.group(1)} for filters and other consumables" in text
    assert found > 2


def test_no_larger_room_is_promised_than_was_measured(drafts):
    """155 ft² for each 100 cfm, which is 8.475 m² for each 100 m³/h (the 1.55 rule; from memory)."""
    found = 0
    for facts, draft in drafts:
        if facts.highest is None or not facts.highest.has_rate:
            continue
        largest = re.search(r"For a room of up to (\d+)\u00a0m²", _text(draft))
        assert largest
        found += 1
        area = 0.08475 * facts.highest.row.clean_air_delivery_rate_m3_per_h
        assert int(largest.group(1)) <= area
        assert int(largest.group(1)) == pytest.approx(math.floor(area), abs=1)
    assert found > 10


def test_better_or_less_than_most_holds_for_the_whole_interval_of_ranks(drafts):
    better = less = 0
    for facts, draft in drafts:
        first = plain(next(section for section in draft.sections if section.key == "cleaning").paragraphs[0])
        tested = len(facts.bench)
        if "better than most" in first:
            better += 1
            assert tested - facts.rank.rank_high_95 > tested / 2
        elif "less than most" in first:
            less += 1
            assert facts.rank.rank_low_95 - 1 > tested / 2
    assert better > 3
    assert less > 3


def test_each_alternative_is_better_where_the_draft_says_so(drafts):
    """What stands before "but" is in favour of the other unit, what stands behind it of the unit under review."""
    checked = 0
    for facts, draft in drafts:
        section = next(section for section in draft.sections if section.key == "compared")
        lines = {line.row.unit_id: line for line in facts.bench}
        for other in facts.others:
            words = next(plain(each) for each in section.paragraphs if other.name in plain(each))
            in_favour = re.search(r": it (.*?)(?:, but |\. )|$", words)[0]
            pair = lines[other.unit_id], facts.highest
            for found, (its, own) in (
                ("times as much clean air", [-line.row.clean_air_delivery_rate_m3_per_h for line in pair]),
                ("USD less(?! per year)", [line.row.price or math.inf for line in pair]),
                ("dB quieter", [line.sound.level_dba if line.sound else math.inf for line in pair]),
            ):
                if re.search(found, words):
                    checked += 1
                    assert bool(re.search(found, in_favour)) == (its < own), words
    assert checked > 20


def test_two_alternatives_of_one_kind_are_not_introduced_alike(drafts):
    several = 0
    for facts, draft in drafts:
        section = next(section for section in draft.sections if section.key == "compared")
        kinds = [lead_of(other) for other in facts.others]
        openings = []
        for other in facts.others:
            words = next(plain(each) for each in section.paragraphs if other.name in plain(each))
            openings.append(words.replace(other.name, "").partition(": it ")[0])
        several += len(kinds) > len(set(kinds))
        assert len(openings) - len(set(openings)) <= sum(max(kinds.count(kind) - 2, 0) for kind in set(kinds))
    assert several > 3


def test_a_draft_begins_with_its_finding_and_ends_with_the_method(drafts):
    for facts, draft in drafts:
        keys = [section.key for section in draft.sections]
        assert keys[:2] == ["cleaning", "results"]
        assert keys[-1] == "method"
        assert draft.title.startswith(facts.name)
        if facts.highest is not None and facts.highest.has_rate:
            rate = facts.highest.row.clean_air_delivery_rate_m3_per_h
            shown = float(re.search(r"delivers ([\d.\u202f]+)", draft.title).group(1).replace("\u202f", ""))
            assert shown == pytest.approx(rate, rel=0.06)
        else:
            assert "delivers" not in draft.title


def test_the_table_has_the_results_of_every_setting(drafts):
    """Each cell is the number that the ranking line of that setting holds; a bound is never shown as a value."""
    for facts, draft in drafts:
        table = next(section.table for section in draft.sections if section.key == "results")
        lines = [line for line in facts.known.lines.lines if line.row.setting_id is not None]
        assert len(table) == (len(lines) + 1 if lines else 0)
        for line, row in zip(lines, table[1:], strict=True):
            rate, time, own = plain(row[1]), plain(row[2]), line.row.clean_air_delivery_rate_m3_per_h
            assert (time == "–") == (not line.has_rate or line.row.standard_clearing_time_min is None)
            if line.has_rate:
                assert float(rate.split("\u00a0")[0]) == pytest.approx(own, rel=0.06)
                assert ("estimated" in time) == (line.time_lies_beyond_min is not None)
            elif rate != "–":
                assert rate.startswith("at most")
