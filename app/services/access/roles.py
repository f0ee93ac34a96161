"""Roles, from the least to the most: view, add, edit, administer."""

from app.errors import InvalidValue

ROLES = ("view", "add", "edit", "administer")
ADMINISTER = "administer"
WORDS = {
    "view": "read everything and download charts, tables and files",
    "add": "also add trials, units, rooms and measurements",
    "edit": "also edit, exclude, remove, delete and restore",
    "administer": "also change bench settings and accounts",
}


def may(role: str, least: str) -> bool:
    """Whether a role includes the rights of another.

    >>> may("edit", "add"), may("view", "add")
    (True, False)
    """
    return ROLES.index(role) >= ROLES.index(least)


def lesser(one: str, other: str) -> str:
    """The lesser of two roles.

    >>> lesser("edit", "add")
    'add'
    """
    return min(one, other, key=ROLES.index)


def checked_role(role: str) -> str:
    if role not in ROLES:
        raise InvalidValue(f"The role is {role!r}; choose one of: {', '.join(ROLES)}.", field="role")
    return role
