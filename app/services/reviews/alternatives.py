"""Alternatives that a draft mentions: the cheapest of the stronger units, and the strongest of the cheaper."""

from collections.abc import Set
from dataclasses import dataclass

from app.services.ranking.rank_intervals import RankView
from app.services.ranking.table import RankedSetting

MOST_STRONGER, MOST_CHEAPER = 2, 2


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another unit at its highest setting.

    stronger, weaker : delivers significantly more, or significantly less, clean air; neither is a tie
    cheaper : has a lower price in the bench's currency
    """

    line: RankedSetting
    stronger: bool
    weaker: bool
    cheaper: bool

    @property
    def name(self) -> str:
        return f"{self.line.row.maker} {self.line.row.model}"


def alternatives(view: RankView, own: RankedSetting | None) -> tuple[Alternative, ...]:
    """Chosen from ranking lines at the highest setting; none if the unit has no setting."""
    if own is None or own.row.setting_id is None:
        return ()
    currency = view.ranking.offered.currency
    own_price = _price(own, currency)
    candidates = [
        line for line in view.ranking.lines if line.has_rate and line.row.setting_id not in (None, own.row.setting_id)
    ]
    in_order = {ranked.key for ranked in view.ranks.rows if ranked.place is not None}
    stronger = [line for line in candidates if _is_stronger(line, own, view, in_order)]
    cheaper = [line for line in candidates if (_price(line, currency) or own_price) < own_price]
    chosen = sorted(stronger, key=lambda line: (_price(line, currency), -_rate(line)))[:MOST_STRONGER]
    chosen += [line for line in sorted(cheaper, key=_rate, reverse=True) if line not in chosen][:MOST_CHEAPER]
    return tuple(
        Alternative(line, line in stronger, _is_stronger(own, line, view, in_order), line in cheaper) for line in chosen
    )


def _is_stronger(line: RankedSetting, own: RankedSetting, view: RankView, in_order: Set[int]) -> bool:
    if _rate(line) <= _rate(own):
        return False
    if not own.has_rate:
        return True  # this one delivers measurably, the other does not
    pair = own.row.setting_id or 0, line.row.setting_id or 0
    return all(key in in_order for key in pair) and not view.ranks.is_tie(*pair)


def _rate(line: RankedSetting) -> float:
    return line.row.clean_air_delivery_rate_m3_per_h or 0.0


def _price(line: RankedSetting, currency: str) -> float:
    """The latest price in that currency; an unknown price counts as the most expensive."""
    row = line.row
    return row.price if row.price is not None and row.price_currency == currency else float("inf")
