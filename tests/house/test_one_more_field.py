"""One more field in the definition of a unit is one more in its forms, bulk table, API and data package.

One more field of a trial's marks is one more where marks are typed.
"""

from dataclasses import dataclass

import pytest
from sqlalchemy import Column, Integer, MetaData, Table, Text
from sqlalchemy.orm import Session

from app.errors import InvalidValue
from app.services.bench.form_options import trial_form_options
from app.services.bulk import kinds
from app.services.bulk.columns import BulkRow
from app.services.data_package import tables
from app.services.logs.trial_fields import TrialMarks
from app.services.store.entry_fields import changed_entry, checked_entry, number, text
from app.services.units.definitions import NewUnit
from app.web.api.derived import answer, body
from app.web.api.shapes import FromStore, RequestBody
from app.web.forms import form_fields
from app.web.forms.typed_form import TypedForm, filled_form
from app.web.pages.adding_a_trial import fields
from app.web.pages.adding_a_trial.conditions import condition_fields
from app.web.templating.environment import environment
from tests.conftest import SmallBench

MACRO = '{% from "macros/forms.html" import entry_fields %}{{ entry_fields(form, "unit") }}'

TRIAL = '{% from "macros/trial_fields.html" import condition_fields %}{{ condition_fields(conditions) }}'
MARKS_MACRO = '{% from "macros/trial_fields.html" import mark_fields %}{{ mark_fields(form) }}'


@dataclass(frozen=True, slots=True, kw_only=True)
class MarksWithMore(TrialMarks):
    fan_off_s: float | None = number("Fan off", "s", form_name="fan_off", zero=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitWithMore(NewUnit):
    colour: str = text("Colour", help="As its maker names it.", longest=20)
    cable_m: float | None = number("Cable", "m")


def typed(**values: str) -> TypedForm:
    return TypedForm({name: [value] for name, value in values.items()})


def test_the_form_shows_it_and_reads_it(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setitem(form_fields.DEFINITIONS, "unit", UnitWithMore)
    form = typed(maker="Maker A", model="Model 1", kind="other", colour="white", cable_m="1,8")
    page = environment().from_string(MACRO).render(form=form)
    assert '<label for="colour">Colour</label>' in page
    assert 'name="cable_m" type="text" value="1,8"' in page
    assert "As its maker names it." in page
    new = form.entry(UnitWithMore)
    assert new is not None
    assert (new.colour, new.cable_m) == ("white", 1.8)


def test_the_form_of_a_trial_shows_it_and_reads_it_for_a_new_unit(
    monkeypatch: pytest.MonkeyPatch, session: Session, small_bench: SmallBench
):
    monkeypatch.setitem(form_fields.DEFINITIONS, "unit", UnitWithMore)
    monkeypatch.setattr(fields, "NewUnit", UnitWithMore)
    added: list[object] = []
    monkeypatch.setattr(fields, "add_unit", lambda session, unit, *, who: added.append(unit))
    form = typed(unit_under_test_id="new", maker="Maker A", model="Model 1", colour="white", cable_m="1,8")
    page = environment().from_string(TRIAL).render(conditions=condition_fields(form, trial_form_options(session)))
    assert 'name="cable_m" type="text" value="1,8"' in page
    fields.unit_of(session, form, "Ann")
    assert added == [UnitWithMore(maker="Maker A", model="Model 1", colour="white", cable_m=1.8)]


def test_the_form_of_marks_shows_one_more(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setitem(form_fields.DEFINITIONS, "marks", MarksWithMore)
    page = environment().from_string(MARKS_MACRO).render(form=typed(fan_off="12.5"))
    assert '<label for="fan_off">Fan off <span class="unit-symbol">[min]</span></label>' in page
    assert 'name="fan_off" type="text" value="12.5"' in page


def test_every_mistake_shows_at_once_beside_its_field():
    form = typed(maker="", model="Model 1", kind="other", colour="white" * 9, cable_m="-1", mass_kg="heavy")
    assert form.entry(UnitWithMore) is None
    assert form.errors == {
        "maker": "The maker is empty. Enter at least one letter.",
        "mass_kg": "The mass: found 'heavy'; enter a number such as 12.5.",
        "colour": "The colour has 45 characters; at most 20 are allowed. Shorten it.",
        "cable_m": "The cable is -1 m; it must be above zero. Correct it.",
    }


def test_it_is_checked_before_storing_and_shown_again():
    new = UnitWithMore(maker="Maker A", model="Model 1", colour=" white ", cable_m=2)
    assert checked_entry(new)["colour"] == "white"
    assert filled_form(UnitWithMore, new).typed("cable_m") == "2"
    assert changed_entry(UnitWithMore, new, {"colour": "red"}, "A unit").colour == "red"
    with pytest.raises(InvalidValue, match=r"A unit has no field 'weight'; its fields are: maker, .*, colour, cable_m"):
        changed_entry(UnitWithMore, new, {"weight": 1}, "A unit")


def test_the_bulk_table_has_its_column():
    columns = {field.column: field.table_words for field in kinds.columns_of(UnitWithMore)}
    assert columns["cable_m"] == "cable, m"
    row = BulkRow(2, {"maker": "Maker A", "model": "Model 1", "colour": "white", "cable_m": "1.8"}, ".")
    assert row.entry(UnitWithMore).cable_m == 1.8
    with pytest.raises(InvalidValue, match="cable_m: found 'long'; enter a number") as refused:
        BulkRow(2, {"maker": "Maker A", "model": "Model 1", "cable_m": "long"}, ".").entry(UnitWithMore)
    assert refused.value.field == "cable_m"


def test_bodies_and_answers_of_the_api_carry_it():
    asked = body(UnitWithMore)(RequestBody).model_json_schema()
    assert asked["properties"]["colour"] == {"default": "", "maxLength": 20, "title": "Colour", "type": "string"}
    assert asked["properties"]["cable_m"]["anyOf"][0] == {"exclusiveMinimum": 0, "type": "number"}
    assert asked["required"] == ["maker", "model"]
    assert "required" not in body(UnitWithMore, change=True)(RequestBody).model_json_schema()
    shown = answer(UnitWithMore)(FromStore).model_json_schema()
    assert shown["properties"]["colour"] == {"title": "Colour", "type": "string"}
    assert "cable_m" in shown["required"]


def test_the_data_package_takes_the_column_of_the_table(monkeypatch: pytest.MonkeyPatch):
    metadata = MetaData()
    Table("units_under_test", metadata, Column("id", Integer, primary_key=True), Column("colour", Text))
    monkeypatch.setattr(tables, "METADATA", metadata)
    assert [field["name"] for field in tables.table_schema("units_under_test", ())["fields"]] == ["id", "colour"]


def test_what_is_private_stays_out_of_a_data_package():
    assert {"serial_number", "measured_by", "tested_by"} <= tables.STAYS_AT_THE_DESK
