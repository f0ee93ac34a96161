"""Notice that a bench is an invented demonstration, for exported data."""

from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.storage.models.bench import Bench


@dataclass(frozen=True, slots=True)
class Invented:
    """`words` is the notice; empty for a bench of real measurements."""

    invented: bool
    words: str


def invented_bench(session: Session) -> Invented:
    row = session.execute(select(Bench.invented, Bench.scenario)).first()
    if row is None or not row.invented:
        return Invented(False, "")
    scenario = row.scenario or "Every unit, maker, room and number here is made up."
    return Invented(True, f"Demonstration with invented data. {scenario}")
