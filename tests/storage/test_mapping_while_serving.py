"""Tables that the first page does not read are mapped while others query, who must meet no half loaded class."""

from collections import defaultdict

import pytest
from sqlalchemy import select
from sqlalchemy.exc import InvalidRequestError
from sqlalchemy.orm import DeclarativeBase, Mapped, Session, relationship

from app.storage.models.all_models import METADATA
from app.storage.models.base import Base
from app.storage.models.trials import Trial


def mapped_classes(base: type = DeclarativeBase) -> set[type]:
    below = {each for one in base.__subclasses__() for each in (one, *mapped_classes(one))}
    return {each for each in below if "__mapper__" in each.__dict__ and each.__module__.startswith("app.")}


def test_each_file_besides_those_of_the_first_page_has_a_registry_of_its_own():
    files = defaultdict(set)
    for each in mapped_classes():
        if each.registry is not Base.registry:
            files[each.registry].add(each.__module__)
    assert len(files) > 5
    assert all(len(of_registry) == 1 for of_registry in files.values()), files


def test_a_class_that_still_waits_for_its_relative_stops_no_query_of_another_file(store):
    class FileBase(DeclarativeBase):
        metadata = METADATA

    class Half(FileBase):
        __table__ = Trial.__table__
        other: Mapped["NotLoadedYet"] = relationship(foreign_keys="Half.log_id", primaryjoin="Half.id == Half.log_id")  # noqa: F821

    with Session(store) as session:
        assert session.scalars(select(Trial)).all() == []
        with pytest.raises(InvalidRequestError, match="NotLoadedYet"):
            session.scalars(select(Half)).all()
        assert session.scalars(select(Trial)).all() == []
    FileBase.registry.dispose()
