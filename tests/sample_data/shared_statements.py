"""The engines of all tests share what SQLAlchemy has compiled.

An engine keeps its compiled statements for itself, and here nearly every test has an engine of its own. A server has
one for as long as it runs.
"""

from typing import Any

from sqlalchemy import Dialect, Engine
from sqlalchemy.engine.default import DefaultDialect
from sqlalchemy.util import LRUCache

_STATEMENTS = 4_000


def share_compiled_statements() -> None:
    """From here on, dialects of one kind count as one, and every engine finds what another has compiled."""
    compiled: LRUCache[Any, Any] = LRUCache(_STATEMENTS)
    start = Engine.__init__

    def start_with_these(engine: Engine, *given: Any, **named: Any) -> None:
        start(engine, *given, **named)
        engine.update_execution_options(compiled_cache=compiled)

    Engine.__init__ = start_with_these  # type: ignore[method-assign]
    DefaultDialect.__hash__ = lambda dialect: hash(_kind(dialect))  # type: ignore[method-assign]
    DefaultDialect.__eq__ = lambda one, other: _kind(one) == _kind(other)  # type: ignore[method-assign]


def _kind(dialect: Dialect) -> Any:
    return type(dialect), dialect.paramstyle, dialect.label_length
