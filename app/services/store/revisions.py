"""Store revisions that this program supports, read from the migration files without loading Alembic."""

import re
from dataclasses import dataclass
from pathlib import Path

from app.errors import StoreProblem

_REVISION = re.compile(r"^revision\s*(?::\s*str\s*)?=\s*[\"']([^\"']+)[\"']", re.MULTILINE)
_DOWN_REVISION = re.compile(r"^down_revision\s*(?::[^=]+)?=\s*(?:[\"']([^\"']+)[\"']|None)", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class StoreRevisions:
    """All revisions that can be migrated from, the first of them, and the newest."""

    known: frozenset[str]
    first: str
    newest: str


def read_store_revisions(migrations: Path) -> StoreRevisions:
    """Revisions of the files in `versions/`; the first has no parent, the newest no child.

    Raises StoreProblem if files are missing or do not form one chain.
    """
    parents: dict[str, str | None] = {}
    for file in sorted((migrations / "versions").glob("*.py")):
        text = file.read_text(encoding="utf-8")
        revision, parent = _REVISION.search(text), _DOWN_REVISION.search(text)
        if revision and parent:
            parents[revision[1]] = parent[1]
    heads = parents.keys() - {parent for parent in parents.values() if parent}
    if len(heads) != 1:
        raise StoreProblem(
            f"{migrations / 'versions'} holds {len(heads)} newest store versions; exactly one is needed. "
            "Install Hazefall again."
        )
    (first,) = (revision for revision, parent in parents.items() if parent not in parents)
    return StoreRevisions(frozenset(parents), first, heads.pop())
