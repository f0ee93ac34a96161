"""Addresses of units in the published site, such as `quietco-model-3`: made once, then kept for ever."""

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.storage.models.reviews import UnitAddress
from app.storage.models.units_under_test import UnitUnderTest

_LONGEST = 60  # characters; a host or a disk may refuse very long ones


@dataclass(frozen=True, slots=True)
class UnitAddresses:
    """Current address of each unit, and its earlier ones, which redirect to it."""

    current: dict[int, str]
    earlier: dict[str, int]

    def of_unit(self, unit_id: int) -> tuple[str, ...]:
        """Today's address of a unit, then its earlier ones."""
        return self.current[unit_id], *sorted(one for one, owner in self.earlier.items() if owner == unit_id)

    def folder(self, unit_id: int) -> str:
        return f"units/{self.current[unit_id]}/"

    def page(self, unit_id: int) -> str:
        """Page of a unit. The file is named, because a folder does not open from a disk."""
        return f"{self.folder(unit_id)}index.html"


def address_of(maker: str, model: str) -> str:
    """The address that a unit's name asks for; "" where it has no letter or digit that an address may hold.

    >>> address_of("Wexbarrow", "Hutch 2"), address_of("Ümläut & Söhne", "№ 7"), address_of("風", "扇")
    ('wexbarrow-hutch-2', 'umlaut-sohne-no-7', '')
    """
    plain = unicodedata.normalize("NFKD", f"{maker} {model}").encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain)[:_LONGEST].strip("-")


def unit_addresses(session: Session) -> UnitAddresses:
    """Addresses of all units, as stored, with those still to be stored for new and renamed units.

    Nothing is written, so that a bench can be looked at before it is published; `store_addresses` writes them.
    """
    return _addresses(_stored(session), _units(session))


def store_addresses(session: Session) -> None:
    """Stores the addresses of new and renamed units, as part of an edition."""
    stored = _stored(session)
    found = _addresses(stored, _units(session))
    known = {row.address: row for row in stored}
    for unit_id, address in found.current.items():
        if address not in known:
            session.add(UnitAddress(address=address, unit_under_test_id=unit_id, current=True))
    for address, row in known.items():
        row.current = found.current.get(row.unit_under_test_id) == address
    session.flush()


def _stored(session: Session) -> Sequence[UnitAddress]:
    return session.scalars(select(UnitAddress).order_by(UnitAddress.address)).all()


def _units(session: Session) -> list[tuple[int, str, bool]]:
    """Id, wanted address, and whether it is in the trash, of every unit."""
    rows = session.execute(
        select(UnitUnderTest.id, UnitUnderTest.maker, UnitUnderTest.model, UnitUnderTest.trashed_at).order_by(
            UnitUnderTest.id
        )
    )
    return [(row.id, address_of(row.maker, row.model), row.trashed_at is not None) for row in rows]


def _addresses(stored: Sequence[UnitAddress], units: Sequence[tuple[int, str, bool]]) -> UnitAddresses:
    """A unit keeps its address until its name gives another one; no address is ever given to another unit."""
    owner = {row.address: row.unit_under_test_id for row in stored}
    had = {row.unit_under_test_id: row.address for row in stored if row.current}
    current = {}
    for unit_id, wanted, in_trash in units:
        if in_trash:
            if unit_id in had:
                current[unit_id] = had[unit_id]
            continue
        current[unit_id] = _free(wanted or f"unit-{unit_id}", unit_id, owner)
        owner[current[unit_id]] = unit_id
    earlier = {address: unit_id for address, unit_id in owner.items() if current.get(unit_id) != address}
    return UnitAddresses(current, earlier)


def _free(wanted: str, unit_id: int, owner: dict[str, int]) -> str:
    address, further = wanted, 2
    while owner.get(address, unit_id) != unit_id:
        address, further = f"{wanted}-{further}", further + 1
    return address
