"""Case-insensitive search for a word in a text column."""

from typing import Any

from sqlalchemy import ColumnElement, LargeBinary, Text, bindparam, case, cast, func
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.compiler import SQLCompiler
from sqlalchemy.sql.functions import FunctionElement
from sqlalchemy.types import Boolean

_PLAIN = "\\"  # the character after it is literal


class _AnyWord(FunctionElement[bool]):
    """The column and the lower-case pattern."""

    type = Boolean()
    inherit_cache = True


class _PlainWord(_AnyWord):
    """The same for a word on which SQLite's own LIKE agrees with lower()."""

    inherit_cache = True


def contains_word(column: Any, word: str) -> ColumnElement[bool]:
    """Whether the column's text contains the word, case-insensitively and literally.

    word : in lower case; it may contain blanks
    """
    pattern = "".join(f"{_PLAIN}{sign}" if sign in (_PLAIN, "%", "_") else sign for sign in word)
    text = column if isinstance(column.type, Text) else cast(column, Text)
    # LIKE ignores case from A to Z only. Of all other letters only two have lower-case forms among a to z: İ (i) and
    # the kelvin sign (k).
    kind = _PlainWord if word.isascii() and not {"i", "k"} & set(word) else _AnyWord
    return kind(text, bindparam(None, f"%{pattern}%", Text()))


@compiles(_AnyWord)
def _by_small_letters(element: _AnyWord, compiler: SQLCompiler, **kw: Any) -> str:
    column, pattern = element.clauses
    return f"({compiler.process(func.lower(column).like(pattern, escape=_PLAIN), **kw)})"


@compiles(_AnyWord, "sqlite")
def _with_further_letters(element: _AnyWord, compiler: SQLCompiler, **kw: Any) -> str:
    """Only text with non-ASCII letters (more than one byte each) is passed to the program's lower(), because on ten
    thousand texts that takes longer than everything else.
    """
    column, pattern = element.clauses
    beyond = func.length(cast(column, LargeBinary)) > func.length(column)
    small = case((beyond, func.lower(column)), else_=column)
    return f"({compiler.process(small.like(pattern, escape=_PLAIN), **kw)})"


@compiles(_PlainWord, "sqlite")
def _by_like(element: _PlainWord, compiler: SQLCompiler, **kw: Any) -> str:
    column, pattern = element.clauses
    return f"({compiler.process(column.like(pattern, escape=_PLAIN), **kw)})"
