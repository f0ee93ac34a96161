"""Facts shown below every chart: publication, demo notice, method; and the branding."""

from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.compute.method import METHOD_VERSION
from app.storage.models.bench import Bench


@dataclass(frozen=True, slots=True)
class ChartFacts:
    """Facts of the bench for source lines. Publication, font and colours are empty by default."""

    bench_name: str
    invented: bool
    method_version: str
    publication: str
    font: str
    ink: str
    accent: str

    def source_line(self, *parts: str) -> str:
        """Source line of a chart; an invented bench says so first."""
        first = f"{self.bench_name}, an invented demonstration" if self.invented else self.bench_name
        return ". ".join([first, *(part for part in parts if part), f"Method version {self.method_version}"]) + "."


def read_chart_facts(session: Session) -> ChartFacts:
    row = session.execute(
        select(
            Bench.name,
            Bench.invented,
            Bench.publication,
            Bench.publication_font,
            Bench.publication_ink,
            Bench.publication_accent,
        )
    ).first()
    if row is None:
        return ChartFacts("Bench", False, METHOD_VERSION, "", "", "", "")
    name, invented, publication, font, ink, accent = row
    return ChartFacts(name, invented, METHOD_VERSION, publication, font, ink, accent)
