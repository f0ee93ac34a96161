"""Addresses of units: kept for ever, and never given to another unit."""

import pytest
from sqlalchemy.orm import Session

from app.services.publishing.unit_addresses import address_of, store_addresses, unit_addresses
from app.services.units.definitions import NewUnit
from app.services.units.entry import add_unit
from app.storage.models.units_under_test import UnitUnderTest
from tests.conftest import NOW


def _unit(session: Session, maker: str, model: str) -> int:
    return add_unit(session, NewUnit(maker=maker, model=model), now=NOW)


@pytest.mark.parametrize("name", ["x" * 5000, "../../etc/passwd", "a/b\\c", "<script>", "con", "ａｂｃ", "-" * 80])
def test_an_address_is_short_and_plain_whatever_the_name(name: str):
    address = address_of(name, name)
    assert len(address) <= 60
    assert all(sign.isascii() and (sign.isalnum() or sign == "-") for sign in address)
    assert not address.startswith("-")
    assert not address.endswith("-")


def test_two_units_whose_names_read_alike_have_two_addresses(session: Session):
    first, second = _unit(session, "Maker A", "Model 1"), _unit(session, "Maker", "A Model-1")
    assert unit_addresses(session).current == {first: "maker-a-model-1", second: "maker-a-model-1-2"}


def test_a_name_without_letters_gets_its_number(session: Session):
    unit = _unit(session, "風", "扇")
    assert unit_addresses(session).current == {unit: f"unit-{unit}"}


def test_a_renamed_unit_has_a_new_address_and_keeps_the_old_one(session: Session):
    unit = _unit(session, "Maker A", "Model 1")
    store_addresses(session)
    session.get_one(UnitUnderTest, unit).model = "Model 2"
    session.flush()
    found = unit_addresses(session)
    assert (found.current, found.earlier) == ({unit: "maker-a-model-2"}, {"maker-a-model-1": unit})
    store_addresses(session)
    other = _unit(session, "Maker A", "Model 1")
    found = unit_addresses(session)
    assert found.current[other] == "maker-a-model-1-2"  # the first one still leads to the renamed unit
    assert found.earlier == {"maker-a-model-1": unit}
    session.get_one(UnitUnderTest, unit).model = "Model  1"
    session.flush()
    store_addresses(session)
    assert unit_addresses(session).current[unit] == "maker-a-model-1"
    assert unit_addresses(session).earlier == {"maker-a-model-2": unit}


def test_a_unit_in_the_trash_keeps_its_address(session: Session):
    unit = _unit(session, "Maker A", "Model 1")
    assert unit_addresses(session).current == {unit: "maker-a-model-1"}
    store_addresses(session)
    session.get_one(UnitUnderTest, unit).trashed_at = NOW
    session.flush()
    other = _unit(session, "Maker-A", "Model 1")
    assert unit_addresses(session).current == {unit: "maker-a-model-1", other: "maker-a-model-1-2"}
