"""Notes of an analysis: a code, a severity, the evidence, and a plain sentence."""

from dataclasses import dataclass
from typing import Literal

Severity = Literal["fine", "care", "unusable"]


@dataclass(frozen=True, slots=True)
class Note:
    """One finding about a trial or a result.

    code : stable name for scripts, lower_case_with_underscores
    severity : fine (for information), care (read before use), unusable (do not use the number)
    message : what was found, what was needed, what to do, with numbers and units
    value, limit : the evidence and the limit it was compared with, in `unit`
    at_min : where in the trial [min from unit on], None if it has no place
    """

    code: str
    severity: Severity
    message: str
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    at_min: float | None = None
