"""API bodies and responses derived from entry definitions."""

import dataclasses
from collections.abc import Callable, Collection
from datetime import date
from typing import Annotated, Any, Literal, TypeVar, get_args, get_type_hints

from pydantic import BaseModel, Field, FiniteFloat, create_model

from app.services.store.entry_fields import EntryField, entry_fields
from app.web.api.shapes import IdOrNone

Model = TypeVar("Model", bound=BaseModel)


def answer(definition: Any, without: Collection[str] = ()) -> Callable[[type[Model]], type[Model]]:
    """Adds the stored fields of a definition to a response. Fields of the class itself are kept."""
    needed = {field.name for field in entry_fields(definition) if field.needed}
    hints = get_type_hints(definition)
    found = {own.name: hints[own.name] for own in dataclasses.fields(definition) if own.name not in without}
    for name in found.keys() & needed:
        found[name] = next((each for each in get_args(found[name]) if each is not type(None)), found[name])
    return _with_fields({name: (hint, ...) for name, hint in found.items()})


def body(
    definition: Any, without: Collection[str] = (), *, change: bool = False
) -> Callable[[type[Model]], type[Model]]:
    """Adds the fields of a definition to a body, with their bounds. Fields of the class itself are kept.

    change : all fields are optional
    """
    fields = {field.name: field for field in entry_fields(definition)}
    found: dict[str, Any] = {}
    for own in dataclasses.fields(definition):
        if own.name in fields:
            required = fields[own.name].required and not change
            default = "" if fields[own.name].required and change else fields[own.name].default
            found[own.name] = (_asked_type(fields[own.name]), ... if required else default)
        elif own.name.endswith("_id"):
            found[own.name] = (IdOrNone, None)
    return _with_fields({name: kind_of_field for name, kind_of_field in found.items() if name not in without})


def _with_fields(fields: dict[str, Any]) -> Callable[[type[Model]], type[Model]]:
    def added(model: type[Model]) -> type[Model]:
        new = {name: kind_of_field for name, kind_of_field in fields.items() if name not in model.model_fields}
        return create_model(model.__name__, __base__=model, __doc__=model.__doc__, __module__=model.__module__, **new)

    return added


def _asked_type(field: EntryField) -> Any:
    bounds: dict[str, Any]
    if field.kind == "text" and field.choices:
        asked: Any = Literal[field.choices]
    elif field.kind == "text":
        bounds = {"min_length": 1} if field.needed else {}
        asked = Annotated[str, Field(max_length=field.longest, **bounds)]
    elif field.kind == "number":
        bounds = {"ge": field.least} if field.zero or field.least else {"gt": 0}
        asked = Annotated[FiniteFloat, Field(le=field.most, **bounds)]
    else:
        asked = {"day": date, "yes or no": bool, "whole number": Annotated[int, Field(ge=1)]}[field.kind]
    return asked if field.required or (field.default is not None) else asked | None
