from datetime import date
from io import BytesIO

import openpyxl
import pytest
from sqlalchemy import select

from app.errors import InvalidValue, UnreadableLog
from app.services.bulk.entry import empty_table, preview_bulk, store_bulk
from app.services.bulk.kinds import BULK_KINDS
from app.services.store.audit import changes_of
from app.services.units.entry import SUBJECT, find_unit
from app.storage.models.bench import Tariff
from app.storage.models.bench_measurements import OzoneTest, PowerMeasurement, SoundMeasurement
from app.storage.models.ratings_and_claims import Claim, Rating
from app.storage.models.units_under_test import Consumable, ConsumablePrice, Price, SpeedSetting, UnitUnderTest


def table(*lines):
    return ("\n".join(lines) + "\n").encode()


UNITS = table(
    "maker,model,kind,makes_ozone,needs no consumables,mass_kg,bought_on",
    "Maker C,Alpha,mechanical filter,no,no,4.2,2026-01-31",
    "Maker C,Beta,ioniser,,yes,,",
)
KNOWN = "Maker A,Model 1"
DAY = date(2026, 2, 1)


def store(session, content, kind="", **choices):
    return store_bulk(session, content, "table.csv", kind, who="Ada", **choices)


def test_a_preview_tells_every_line_and_keeps_nothing(session):
    found = preview_bulk(session, UNITS, "units.csv")
    assert found.kind.name == "units"
    assert [(line.line, line.outcome, line.words) for line in found.lines] == [
        (2, "adds", "adds the unit Maker C Alpha"),
        (3, "adds", "adds the unit Maker C Beta"),
    ]
    assert not found.stored
    assert session.scalars(select(UnitUnderTest)).all() == []


def test_storing_does_what_the_preview_said(session):
    found = store(session, UNITS)
    assert found.stored
    alpha, beta = session.scalars(select(UnitUnderTest).order_by(UnitUnderTest.model)).all()
    assert (alpha.mass_kg, alpha.bought_on.isoformat(), alpha.consumables_state) == (4.2, "2026-01-31", "unknown")
    assert (beta.kind, beta.makes_ozone, beta.consumables_state) == ("ioniser", True, "none needed")
    assert changes_of(session, SUBJECT, alpha.id)[0].who == "Ada"


def test_a_table_given_twice_stores_nothing_twice(session):
    store(session, UNITS)
    again = store(session, UNITS)
    assert [line.outcome for line in again.lines] == ["stored already", "stored already"]
    assert len(session.scalars(select(UnitUnderTest)).all()) == 2


def test_a_refused_line_names_line_and_column_and_holds_the_rest_back(session):
    bad = UNITS.replace(b"4.2", b"heavy")
    found = preview_bulk(session, bad, "units.csv")
    assert found.lines[0].outcome == "refused"
    assert found.lines[0].field == "mass_kg"
    assert found.lines[0].words == "mass_kg: found 'heavy'; enter a number."
    with pytest.raises(InvalidValue, match="1 of 2 rows are rejected, the first in line 2: mass_kg: found 'heavy'"):
        store(session, bad)
    assert session.scalars(select(UnitUnderTest)).all() == []


def test_refused_lines_can_be_left_out(session):
    found = store(session, UNITS.replace(b"4.2", b"heavy"), leave_out_refused=True)
    assert (found.count("adds"), found.count("refused")) == (1, 1)
    assert find_unit(session, "Maker C", "Beta")
    assert not find_unit(session, "Maker C", "Alpha")


def test_a_line_may_lean_on_one_before_it_and_a_refused_one_leaves_nothing(session, small_bench):
    lines = table(
        "maker,model,setting,position,is_highest",
        f"{KNOWN},turbo,3,yes",
        f"{KNOWN},Turbo,4,",
        "Maker X,Nothing,low,1,",
    )
    found = preview_bulk(session, lines, "s.csv")
    assert [line.outcome for line in found.lines] == ["adds", "stored already", "refused"]
    assert "Maker X Nothing does not exist. Add it first" in found.lines[2].words
    store(session, lines, leave_out_refused=True)
    names = {s.name: s.is_highest for s in session.scalars(select(SpeedSetting)).all()}
    assert names == {"low": False, "high": False, "turbo": True}


def test_prices_are_kept_with_the_old_ones(session, small_bench):
    lines = table("Maker;Model;Price;Currency;Seen on;Source", "Maker A;Model 1;189,90;eur;2026-03-01;shop")
    store(session, lines)
    store(session, lines)
    assert [(p.amount, p.currency) for p in session.scalars(select(Price).order_by(Price.id))] == [
        (199.0, "USD"),
        (189.9, "EUR"),
    ]


def test_consumables_come_with_their_prices_and_a_later_price_is_added(session, small_bench):
    head = (
        "maker,model,consumable,life_months,life_running_hours,pack_size,washable,"
        "price_per_pack,currency,seen_on,source,life_source"
    )
    main = f"{KNOWN},main filter,12,4380,2,,40,USD,2026-01-01,shop,manual"
    lines = table(head, main, f"{KNOWN},pre-filter,,,,yes,,,,,")
    assert [line.words for line in store(session, lines).lines] == [
        "adds the part main filter to Model 1, adds its price 40 USD",
        "adds the part pre-filter to Model 1",
    ]
    later = table(head, f"{KNOWN},main filter,,,,,44,USD,2026-06-01,shop,")
    assert store(session, later).lines[0].words == "adds its price 44 USD"
    assert store(session, later).lines[0].outcome == "stored already"
    parts = {c.name: (c.life_months, c.pack_size, c.washable) for c in session.scalars(select(Consumable))}
    assert parts == {"main filter": (12.0, 2, False), "pre-filter": (None, 1, True)}
    assert len(session.scalars(select(ConsumablePrice)).all()) == 2


FACTS = {
    "ratings": (
        table(
            "maker,model,aerosol,listed,value,unit,source,seen_on",
            f"{KNOWN},smoke,yes,200,cfm,list,2026-02-01",
            f"{KNOWN},dust,no,,,list,2026-02-01",
        ),
        Rating,
    ),
    "claims": (
        table(
            "maker,model,quantity,value,unit,bound,setting,wording,seen_on,where_seen",
            f"{KNOWN},sound_level,24,dB(A),at most,low,whisper quiet at 24 dB,2026-02-01,box",
            f"{KNOWN},germs_removed,99.9,%,,,kills germs,2026-02-01,box",
        ),
        Claim,
    ),
    "sound": (
        table(
            "maker,model,setting,sound_dba,background_dba,distance_m,measured_on,measured_by",
            f"{KNOWN},low,35.2,24,1,2026-02-01,Ada",
            f"{KNOWN},high,52.1,24,1,2026-02-01,Ada",
        ),
        SoundMeasurement,
    ),
    "power": (
        table(
            "maker,model,setting,power_w,uncertainty_w,measured_on,measured_by",
            f"{KNOWN},high,52.5,0.5,2026-02-01,Ada",
            f"{KNOWN},standby,0.4,,2026-02-01,Ada",
        ),
        PowerMeasurement,
    ),
    "ozone": (
        table(
            "maker,model,ozone_ppb,below_detection,tested_on,source",
            f"{KNOWN},3,yes,2026-02-01,chamber report",
            f"{KNOWN},9,,2026-02-02,chamber report",
        ),
        OzoneTest,
    ),
    "tariffs": (
        table(
            "region,price_per_kwh,currency,valid_from,standing,source",
            "Northland,0.21,USD,2026-01-01,own bill,bill",
            "Northland,0.19,USD,2025-01-01,read,list",
        ),
        Tariff,
    ),
}


@pytest.mark.parametrize("kind", FACTS)
def test_every_kind_of_fact_is_stored_once(session, small_bench, kind):
    content, stored = FACTS[kind]
    assert preview_bulk(session, content, "t.csv").kind.name == kind
    first = store(session, content)
    assert [line.outcome for line in first.lines] == ["adds", "adds"]
    second = store(session, content)
    assert [line.outcome for line in second.lines] == ["stored already", "stored already"]
    assert len(session.scalars(select(stored)).all()) == 2


def test_a_setting_that_is_not_there_is_refused(session, small_bench):
    lines = table("maker,model,setting,power_w,measured_on,measured_by", f"{KNOWN},warp,52.5,2026-02-01,Ada")
    assert "Model 1 has no setting 'warp'. Add it first" in preview_bulk(session, lines, "t.csv").lines[0].words


@pytest.mark.parametrize("cell", ["yes", "No", "TRUE", "0", "x"])
def test_yes_and_no_are_read(session, small_bench, cell):
    lines = table("maker,model,setting,is_highest", f"{KNOWN},turbo,{cell}")
    assert preview_bulk(session, lines, "t.csv").lines[0].outcome == "adds"


def test_neither_yes_nor_no_is_refused(session, small_bench):
    lines = table("maker,model,setting,is_highest", f"{KNOWN},turbo,maybe")
    assert preview_bulk(session, lines, "t.csv").lines[0].words == "is_highest: found 'maybe'; enter yes or no."


@pytest.mark.parametrize(
    ("column", "cell", "words"),
    [
        ("seen_on", "soon", "seen_on: found 'soon'; enter a date such as 2026-03-31."),
        ("seen_on", "31.03.2026", ""),
        ("price", "cheap", "price: found 'cheap'; enter a number."),
        ("currency", "dollars", "The currency is 'dollars'; enter three letters"),
        ("currency", "", "currency is empty but required: three letters."),
    ],
)
def test_cells_are_checked_one_by_one(session, small_bench, column, cell, words):
    row = {"maker": "Maker A", "model": "Model 1", "price": "9", "currency": "USD", "seen_on": "2026-03-31"}
    row["source"] = "shop"
    row[column] = cell
    found = preview_bulk(session, table(",".join(row), ",".join(row.values())), "t.csv").lines[0]
    assert found.outcome == ("refused" if words else "adds")
    assert found.words.startswith(words)


def test_whole_numbers_are_asked_for(session, small_bench):
    lines = table("maker,model,setting,position", f"{KNOWN},turbo,1.5")
    assert preview_bulk(session, lines, "t.csv").lines[0].words == ("position: found '1.5'; enter a whole number.")


def test_a_workbook_is_read_by_its_sheet(session, small_bench):
    book = openpyxl.Workbook()
    book.active.title = "notes"
    book.active.append(["hello", "there"])
    sheet = book.create_sheet("prices")
    sheet.append(["maker", "model", "price", "currency", "seen_on", "source"])
    sheet.append(["Maker A", "Model 1", 179.5, "USD", "2026-03-01", "shop"])
    written = BytesIO()
    book.save(written)
    found = store_bulk(session, written.getvalue(), "book.xlsx", sheet="prices")
    assert found.lines[0].words == "adds the price 179.5 USD to Model 1"
    assert found.sheet == "prices"


def test_unknown_headers_are_told(session):
    found = preview_bulk(session, table("maker,model,colour", "Maker C,Alpha,white"), "u.csv", "units")
    assert (found.recognised, found.left_out) == (("maker", "model"), ("colour",))


def test_a_row_with_too_many_cells_is_refused_with_its_line(session):
    found = preview_bulk(session, table("maker,model", "Maker C,Alpha", "Maker C,Beta,extra"), "u.csv", "units")
    assert [(line.line, line.outcome) for line in found.lines] == [(2, "adds"), (3, "refused")]
    assert "3 cells but 2 headers" in found.lines[1].words


def test_every_kind_has_an_empty_table_with_its_needed_columns(session):
    for kind in BULK_KINDS.values():
        assert set(kind.needed) <= set(empty_table(kind.name).strip().split(","))


def test_what_is_no_table_of_a_known_kind_is_refused(session):
    with pytest.raises(InvalidValue, match=r"u.csv has the columns a, b; they do not match any table type."):
        preview_bulk(session, table("a,b", "1,2"), "u.csv")
    with pytest.raises(InvalidValue, match=r"u.csv, line 1: the column model is missing for units under test"):
        preview_bulk(session, table("maker,b", "1,2"), "u.csv", "units")
    with pytest.raises(InvalidValue, match="The table type is 'cars'; choose one of: units, settings"):
        empty_table("cars")
    with pytest.raises(UnreadableLog):
        preview_bulk(session, b"", "u.csv")


def test_a_very_long_table_is_refused(session):
    lines = table("maker,model", *(f"Maker C,{n}" for n in range(5001)))
    with pytest.raises(InvalidValue, match=r"u.csv has 5001 rows; at most 5000 can be imported at once"):
        preview_bulk(session, lines, "u.csv")


def test_counts_beyond_the_store_are_refused_by_line(session, small_bench):
    lines = table("maker,model,consumable,pieces_in_use", f"{KNOWN},filter,1e300", f"{KNOWN},pad,2")
    found = preview_bulk(session, lines, "parts.csv", "consumables")
    assert [line.outcome for line in found.lines] == ["refused", "adds"]
    assert found.lines[0].words.startswith("The number of pieces in use is 1e+300; enter at most 10000.")


def test_the_same_wording_with_another_value_is_another_claim(session, small_bench):
    lines = table(
        "maker,model,quantity,value,unit,wording,seen_on,where_seen",
        f"{KNOWN},sound_level,20,dB(A),whisper quiet,2026-01-02,box",
        f"{KNOWN},sound_level,22,dB(A),whisper quiet,2026-01-02,box",
        f"{KNOWN},sound_level,20,kg,whisper quiet,2026-01-02,box",
        f"{KNOWN},sound_level,20,dB(A),whisper quiet,2026-01-02,box",
    )
    found = preview_bulk(session, lines, "claims.csv", "claims")
    assert [line.outcome for line in found.lines] == ["adds", "adds", "refused", "stored already"]


SOURCES = {
    "prices": ("maker,model,price,currency,seen_on", f"{KNOWN},9,USD,2026-01-01", "source"),
    "ratings": ("maker,model,aerosol,value,unit,seen_on", f"{KNOWN},smoke,200,cfm,2026-01-01", "source"),
    "claims": ("maker,model,quantity,wording,seen_on", f"{KNOWN},sound_level,quiet,2026-01-01", "where_seen"),
    "sound": ("maker,model,setting,sound_dba,distance_m,measured_on", f"{KNOWN},low,40,1,2026-01-01", "measured_by"),
    "power": ("maker,model,setting,power_w,measured_on", f"{KNOWN},low,9,2026-01-01", "measured_by"),
    "ozone": ("maker,model,ozone_ppb,tested_on", f"{KNOWN},9,2026-01-01", "source"),
    "tariffs": ("region,price_per_kwh,currency,valid_from", "Northland,0.2,USD,2026-01-01", "source"),
}


@pytest.mark.parametrize("kind", SOURCES)
def test_a_value_without_a_source_is_refused_as_a_column_and_as_a_cell(session, small_bench, kind):
    head, row, column = SOURCES[kind]
    words = f"t.csv, line 1: the column {column} is missing for {BULK_KINDS[kind].words.lower()}"
    with pytest.raises(InvalidValue, match=words):
        preview_bulk(session, table(head, row), "t.csv")
    line = preview_bulk(session, table(f"{head},{column}", f"{row},"), "t.csv").lines[0]
    assert (line.outcome, line.field) == ("refused", column)
    assert line.words.startswith(f"{column} is empty but required: w")


def test_the_price_and_the_life_of_a_part_come_with_who_says_so(session, small_bench):
    head = "maker,model,consumable,life_months,life_source,price_per_pack,currency,seen_on,source"
    rows = (
        f"{KNOWN},one,,,40,USD,2026-01-01,",
        f"{KNOWN},two,12,,,,,",
        f"{KNOWN},three,12,manual,40,USD,2026-01-01,shop",
    )
    first, second, third = preview_bulk(session, table(head, *rows), "t.csv").lines
    assert (first.outcome, first.field) == ("refused", "source")
    assert first.words.startswith("The price has no source. Enter where it was seen")
    assert second.words == (
        "life_months is given but life_source is empty. Enter the source of the life, such as the manual."
    )
    assert third.outcome == "adds"
    assert session.scalars(select(Consumable)).all() == []


WORKBOOK = {  # a sheet a kind, with dates and numbers as a spreadsheet holds them
    "units": (["maker", "model", "kind", "mass_kg"], ["Maker C", "Alpha", "ioniser", 4.25]),
    "settings": (["maker", "model", "setting", "position"], ["Maker A", "Model 1", "turbo", 3]),
    "prices": (
        ["maker", "model", "price", "currency", "seen_on", "source"],
        ["Maker A", "Model 1", 9.5, "USD", DAY, "shop"],
    ),
    "consumables": (
        ["maker", "model", "consumable", "life_months", "life_source"],
        ["Maker A", "Model 1", "pad", 6, "manual"],
    ),
    "ratings": (
        ["maker", "model", "aerosol", "value", "unit", "source", "seen_on"],
        ["Maker A", "Model 1", "smoke", 200, "cfm", "list", DAY],
    ),
    "claims": (
        ["maker", "model", "quantity", "value", "unit", "wording", "where_seen", "seen_on"],
        ["Maker A", "Model 1", "room_area", 25, "m²", "for 25 m²", "box", DAY],
    ),
    "sound": (
        ["maker", "model", "setting", "sound_dba", "distance_m", "measured_on", "measured_by"],
        ["Maker A", "Model 1", "low", 35.5, 1, DAY, "Ada"],
    ),
    "power": (
        ["maker", "model", "setting", "power_w", "measured_on", "measured_by"],
        ["Maker A", "Model 1", "standby", 0.4, DAY, "Ada"],
    ),
    "ozone": (["maker", "model", "ozone_ppb", "tested_on", "source"], ["Maker A", "Model 1", 9, DAY, "report"]),
    "tariffs": (
        ["region", "price_per_kwh", "currency", "valid_from", "source"],
        ["Northland", 0.21, "USD", DAY, "bill"],
    ),
}


@pytest.mark.parametrize("kind", BULK_KINDS)
def test_every_kind_is_taken_from_a_sheet_of_a_workbook(session, small_bench, kind):
    head, row = WORKBOOK[kind]
    book = openpyxl.Workbook()
    book.active.title = kind
    book.active.append(head)
    book.active.append(row)
    written = BytesIO()
    book.save(written)
    found = store_bulk(session, written.getvalue(), "book.xlsx")
    assert found.kind.name == kind
    assert [line.outcome for line in found.lines] == ["adds"], found.lines
