"""A figure from a public rule or guide, with how it was verified: read there, or from memory."""

from dataclasses import dataclass
from typing import Literal

Standing = Literal["read", "read second-hand", "from memory", "recomputed", "common practice, no source"]


@dataclass(frozen=True, slots=True)
class PublishedFigure:
    """One figure of a rule, guide or standard.

    standing : read in the document or a copy of it; read second-hand in a description; from memory (unverified);
        recomputed from a formula; or common practice without a source
    year : year of the rule or edition, None where it is not known
    """

    name: str
    value: float
    unit_symbol: str
    body: str
    document: str
    year: int | None
    standing: Standing

    @property
    def verified(self) -> bool:
        return self.standing in ("read", "recomputed")

    @property
    def caution(self) -> str:
        """Caution shown beside the figure; empty where it was read in the source.

        >>> PublishedFigure("hours", 5840, "h", "US DOE", "10 CFR 430", 2023, "from memory").caution
        'unverified: from memory, rule of 2023'
        """
        if self.verified:
            return ""
        return f"unverified: {self.standing}" + (f", rule of {self.year}" if self.year else "")
