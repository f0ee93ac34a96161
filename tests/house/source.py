"""The syntax of a source file, parsed once for all the tests of this folder."""

import ast
from functools import cache
from pathlib import Path


def nodes_of(path: Path) -> tuple[ast.AST, ...]:
    """All nodes of a Python file, in the order of `ast.walk`."""
    return nodes_of_text(path.read_text(encoding="utf-8"))


@cache
def nodes_of_text(source: str) -> tuple[ast.AST, ...]:
    return tuple(ast.walk(ast.parse(source)))
