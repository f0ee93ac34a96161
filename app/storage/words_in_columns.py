"""Asks whether a word stands in a column of text, capitals aside."""

from typing import Any

from sqlalchemy import ColumnElement, LargeBinary, Text, bindparam, case, cast, func
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.compiler import SQLCompiler
from sqlalchemy.sql.functions import FunctionElement
from sqlalchemy.types import Boolean

_PLAIN = "\\"  # a sign after it stands for itself


class _AnyWord(FunctionElement[bool]):
    """The column and the pattern of a word in small letters."""

    type = Boolean()
    inherit_cache = True


class _PlainWord(_AnyWord):
    """The same for a word that SQLite's own LIKE finds wherever lower() would let it be found."""

    inherit_cache = True


def contains_word(column: Any, word: str) -> ColumnElement[bool]:
    """Whether the word is a part of the column's text; its signs are taken as they stand.

    word : in small letters; it may be several, as they follow each other
    """
    pattern = "".join(f"{_PLAIN}{sign}" if sign in (_PLAIN, "%", "_") else sign for sign in word)
    text = column if isinstance(column.type, Text) else cast(column, Text)
    # LIKE passes over capitals from A to Z. Of all other letters two alone have small ones among a to z, and these are
    # İ with its i and the sign of the kelvin with its k.
    kind = _PlainWord if word.isascii() and not {"i", "k"} & set(word) else _AnyWord
    return kind(text, bindparam(None, f"%{pattern}%", Text()))


@compiles(_AnyWord)
def _by_small_letters(element: _AnyWord, compiler: SQLCompiler, **kw: Any) -> str:
    column, pattern = element.clauses
    return f"({compiler.process(func.lower(column).like(pattern, escape=_PLAIN), **kw)})"


@compiles(_AnyWord, "sqlite")
def _with_further_letters(element: _AnyWord, compiler: SQLCompiler, **kw: Any) -> str:
    """Only text with letters beyond ASCII, which take more than a byte each, is given to the program's lower(): with
    ten thousand texts that takes longer than all else."""
    column, pattern = element.clauses
    beyond = func.length(cast(column, LargeBinary)) > func.length(column)
    small = case((beyond, func.lower(column)), else_=column)
    return f"({compiler.process(small.like(pattern, escape=_PLAIN), **kw)})"


@compiles(_PlainWord, "sqlite")
def _by_like(element: _PlainWord, compiler: SQLCompiler, **kw: Any) -> str:
    column, pattern = element.clauses
    return f"({compiler.process(column.like(pattern, escape=_PLAIN), **kw)})"
