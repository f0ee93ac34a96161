"""Chart of a unit's claims: measured as a share of claimed, where a share makes sense."""

from collections.abc import Sequence

from app.compute.wording.numbers import counted
from app.figures.chart import Axis, Chart, ReferenceLine, Series
from app.figures.charts.house_style import house_style
from app.services.bench.chart_facts import ChartFacts
from app.services.measurements.claims import CheckedClaim

_LONGEST = 40


def claims_chart(unit_name: str, claims: Sequence[CheckedClaim], facts: ChartFacts) -> Chart:
    """Measured as a percentage of claimed with its interval; levels in dB have no share and are in the table only."""
    shown = [entry for entry in claims if has_share(entry)]
    names: list[str] = []
    for entry in shown:
        words = entry.claim.wording if len(entry.claim.wording) <= _LONGEST else entry.claim.wording[:_LONGEST] + "…"
        names.append(words if words not in names else f"{words} ({entry.claim.id})")
    ends = [100.0, *(_share(entry, entry.check.high_95) for entry in shown)]
    return Chart(
        name="claims-measured",
        title=claims_text(unit_name, claims).rstrip("."),
        subtitle="Measured as a share of the claim, with its 95 % interval",
        x_axis=Axis("Measured / claimed", "%", low=0.0, high=1.15 * max(ends, default=100.0)),
        y_axis=Axis("", names=tuple(names)),
        series=(
            Series(
                "measured",
                "interval",
                tuple(_share(entry, entry.check.measured) for entry in shown),
                tuple(names),
                low=tuple(_share(entry, entry.check.low_95) for entry in shown),
                high=tuple(_share(entry, entry.check.high_95) for entry in shown),
                hover=tuple(entry.check.sentence for entry in shown),
            ),
        )
        if shown
        else (),
        alt_text=claims_text(unit_name, claims),
        source_line=facts.source_line(counted(len(shown), "claim")),
        reference_lines=(ReferenceLine("x", 100.0, "as claimed"),) if shown else (),
        horizontal=True,
        x_column="measured_percent_of_claim",
        y_column="claim",
        house=house_style(facts),
    )


def has_share(entry: CheckedClaim) -> bool:
    """Whether the claim has a measured value that can be expressed as a share."""
    check = entry.check
    return check.unit_symbol != "dB(A)" and check.measured is not None and bool(check.claimed)


def claims_text(unit_name: str, claims: Sequence[CheckedClaim]) -> str:
    """Numbers of claims supported, not supported, and not testable."""
    if not claims:
        return f"No claims about {unit_name} recorded."
    counts = {
        verdict: sum(entry.check.verdict == verdict for entry in claims)
        for verdict in ("supported", "not supported", "cannot be tested here")
    }
    parts = [f"{count} {verdict}" for verdict, count in counts.items() if count]
    return f"{counted(len(claims), 'claim')} on {unit_name}: {', '.join(parts)}."


def _share(entry: CheckedClaim, value: float | None) -> float:
    return 100 * (value or 0.0) / (entry.check.claimed or 1.0)
