"""The ranking page against a raw SQL query and Jinja2: `python -m tests.bench.ranking_bench`.

Both sides read the same store of 1,000 units and 10,000 trials, and write the same lines with the same columns as
HTML, over and over, as a desk that looks at its bench does; processor time, medians of alternating rounds. The lines
of the page, their words and markup come from the snapshot of the bench.

Three numbers for each length of the table: on a store that stays as it is; the first view after a commit, when only the
unit that it changed is read again; and without a snapshot, which is the first view after every unit changed, as when a
whole bench was analysed again. `first_ranking_bench` measures the first view after a start.

The raw side is the least that such a page can be: one hand-written query on a plain connection, sorted and cut
by the database, and a template that formats the numbers; no filters, no intervals in words, no reasons, no running
cost. What the page adds to that is what the ratio shows.
"""

import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from enum import Enum
from pathlib import Path

from jinja2 import Environment

from app.services.ranking.table import rank_units
from app.services.snapshot.bench_snapshot import current_snapshot, forget_snapshot
from app.services.snapshot.choices import RankingChoices
from app.storage.engine import open_engine, session_scope
from app.web.forms.typed_form import TypedForm
from app.web.forms.unit_system import METRIC
from app.web.pages.ranking.view import ranking_page
from app.web.process.gc_settings import freeze_startup_objects
from app.web.templating.environment import environment
from app.web.templating.page_context import make_shell
from tests.bench.scale.large_bench import make_large_store

SQL = """
SELECT u.id, u.maker, u.model, s.name, m.clean_air_delivery_rate_m3_per_h, m.clean_air_delivery_rate_low_95,
       m.clean_air_delivery_rate_high_95, m.measurable, m.at_most_m3_per_h,
       m.clean_air_delivery_rate_m3_per_h / r.room_volume_m3,
       m.standard_clearing_time_min, m.standard_clearing_time_low_95_min, m.standard_clearing_time_high_95_min,
       m.time_to_clear_min, m.not_cleared_before_min, m.start_level_low, m.start_level_high,
       (SELECT avg(level_dba) FROM sound_measurements x WHERE x.unit_under_test_id = u.id AND x.setting_id = s.id),
       (SELECT avg(power_w) FROM power_measurements x WHERE x.unit_under_test_id = u.id AND x.setting_id = s.id),
       (SELECT amount FROM prices x WHERE x.unit_under_test_id = u.id ORDER BY seen_on DESC LIMIT 1),
       (SELECT sum(p.amount * c.pieces_in_use * 12.0 / c.pack_size / c.life_months) FROM consumables c
        JOIN consumable_prices p ON p.consumable_id = c.id WHERE c.unit_under_test_id = u.id),
       m.usable_trials
FROM units_under_test u
JOIN speed_settings s ON s.unit_under_test_id = u.id AND s.is_highest = 1
JOIN setting_summaries m ON m.setting_id = s.id AND m.channel = 'pm2_5' AND m.aerosol = 'smoke' AND m.room_id = 1
JOIN rooms r ON r.id = m.room_id
WHERE u.trashed_at IS NULL
ORDER BY m.measurable DESC, m.clean_air_delivery_rate_m3_per_h DESC
LIMIT ?
"""

TEMPLATE = """<!doctype html><html lang="en"><head><title>Ranking</title></head><body><table>
<thead><tr>{% for head in heads %}<th scope="col"><a href="/?sort={{ head }}">{{ head }}</a></th>{% endfor %}</tr></thead>
<tbody>{% for row in rows %}
<tr><th scope="row"><a href="/units/{{ row[0] }}">{{ row[2] }}</a><span class="maker">{{ row[1] }}, {{ row[3] }}</span></th>
<td class="number">{% if row[7] %}{{ "%.0f" | format(row[4]) }}{% else %}at most {{ "%.1f" | format(row[8]) }}{% endif %}<span class="below">{{ "%.0f" | format(row[5]) }} to {{ "%.0f" | format(row[6]) }}</span></td>
<td class="bar"><svg class="interval-bar" viewBox="0 0 104 16" width="104" height="16"><path class="scale" d="M2 8H102"/><rect class="range" x="{{ "%.1f" | format(row[5] / 20) }}" y="5.5" width="{{ "%.1f" | format((row[6] - row[5]) / 20) }}" height="5"/></svg></td>
<td class="number">{{ "%.2f" | format(row[9]) }}</td>
<td class="number">{{ "%.1f" | format(row[10]) }}<span class="below">{{ "%.1f" | format(row[11]) }} to {{ "%.1f" | format(row[12]) }}</span></td>
<td class="number">{% if row[13] %}{{ "%.1f" | format(row[13]) }}{% else %}&gt; {{ "%.0f" | format(row[14]) }}{% endif %}<span class="below">from {{ "%.0f" | format(row[15]) }}–{{ "%.0f" | format(row[16]) }}</span></td>
<td class="bar"><svg class="interval-bar" viewBox="0 0 104 16" width="104" height="16"><path class="scale" d="M2 8H102"/><path class="point" d="M{{ "%.1f" | format((row[13] or row[14]) / 2) }} 2.5V13.5"/></svg></td>
<td class="number">{{ "%.0f" | format(row[17]) }}</td><td class="number">{{ "%.1f" | format(row[18]) }}</td>
<td class="number">{{ "%.0f" | format(row[19]) }}</td><td class="number">{{ "%.0f" | format((row[20] or 0) + row[18] * 1.2264) }}</td>
<td class="number">{{ row[21] }}</td></tr>{% endfor %}
</tbody></table></body></html>"""  # noqa: E501
HEADS = ("unit", "rate", "air_changes", "standard", "clear", "sound", "power", "price", "cost", "trials")


AIM, AIM_WITH_NOTHING_KEPT = 2.0, 6.0
UNITS, TRIALS = 1000, 10_000


class Kept(Enum):
    """What the page may take from the view before."""

    TABLE = "the store unchanged"
    LINES = "the first view after a commit"
    NOTHING = "without a snapshot"


def ranking_ratio(path: Path, lines: int = 100, kept: Kept = Kept.TABLE, rounds: int = 15) -> float:
    """Processor time of the page over that of the raw query and template."""
    engine = open_engine(f"sqlite:///{path}")
    template = Environment(autoescape=True).from_string(TEMPLATE)
    shell = make_shell("/")
    choices = RankingChoices(limit=lines)

    def page() -> str:
        with session_scope(engine, writes=False) as session:
            if kept is Kept.NOTHING:
                forget_snapshot(session)
            snapshot = current_snapshot(session)
            ranking = rank_units(snapshot, choices)
        view = ranking_page(ranking, TypedForm(), METRIC, snapshot=snapshot)
        return environment().get_template("pages/ranking/page.html").render(page=view, shell=shell)

    freeze_startup_objects()  # both sides run with the garbage collector set as in a started server
    with closing(sqlite3.connect(path)) as connection, closing(sqlite3.connect(path)) as another:

        def raw() -> str:
            rows = connection.execute(SQL, (lines,)).fetchall()
            return template.render(rows=rows, heads=HEADS)

        assert page().count("<tr>") == raw().count("<tr>") == lines + 1, "both sides need to show the same lines"
        times: dict[Callable[[], str], list[float]] = {page: [], raw: []}
        for number in range(rounds):
            if kept is Kept.LINES:
                another.execute("UPDATE prices SET amount = amount + 1 WHERE unit_under_test_id = ?", (number + 1,))
                another.commit()
            for side, taken in times.items():
                began = time.process_time()
                side()
                taken.append(time.process_time() - began)
    engine.dispose()
    return statistics.median(times[page]) / statistics.median(times[raw])


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        store = make_large_store(Path(folder) / "bench.sqlite", UNITS, TRIALS)
        print(f"{store.units} units, {store.settings} settings, {store.trials} trials")
        for lines in (100, 1000):
            for kept in Kept:
                ratio = ranking_ratio(store.path, lines, kept)
                print(f"ranking page of {lines} lines over raw SQL and Jinja2, {kept.value}: {ratio:.2f}")


if __name__ == "__main__":
    main()
