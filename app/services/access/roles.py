"""Roles, from the least to the most: view, add, edit, administer."""

from app.errors import InvalidValue

ROLES = ("view", "add", "edit", "administer")
ADMINISTER = "administer"
WORDS = {
    "view": "read everything and take charts, tables and files away",
    "add": "also add trials, units, rooms and measurements",
    "edit": "also change, exclude, take back and put into the trash what is there",
    "administer": "also change the choices of the bench, and accounts",
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
        raise InvalidValue(f"The role is {role!r}; it needs one of: {', '.join(ROLES)}.", field="role")
    return role
