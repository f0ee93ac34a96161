"""The very first ranking page of a started server against a raw SQL query and Jinja2.

python -m tests.bench.first_ranking_bench

Each round starts a fresh interpreter with the application on a store of 1,000 units and 10,000 trials. Once it takes
requests, the processor time of the first request is measured, until the last byte of the page has gone out; it goes
through all checks of the program. The raw query and template of `ranking_bench` run in the same interpreter, after a
first time that compiles the template.

A server prepares the page before it takes requests, so the ratio is also printed without that. Preparing it is part
of the time from starting Python to the first page, which `first_page_bench` measures.
"""

import statistics
import tempfile
from pathlib import Path

from tests.bench.first_page_bench import printed_by, start_environment
from tests.bench.ranking_bench import TRIALS, UNITS
from tests.bench.scale.large_bench import make_large_store

AIM = 3.0
LINES = 100
ROUNDS = 9
_PROGRAM = """
import asyncio, sqlite3, statistics, time
from jinja2 import Environment
from tests.bench.asgi_request import get
from tests.bench.ranking_bench import HEADS, SQL, TEMPLATE
{application}
moments = []
note = lambda: moments.append(time.process_time())
status, page = asyncio.run(get(app, "/", note, note))
assert status == 200 and page.count(b"<tr>") == {lines} + 1, status
connection, template = sqlite3.connect({store!r}), Environment(autoescape=True).from_string(TEMPLATE)
times = []
for _ in range(6):
    began = time.process_time()
    raw = template.render(rows=connection.execute(SQL, ({lines},)).fetchall(), heads=HEADS)
    times.append(time.process_time() - began)
assert raw.count("<tr>") == {lines} + 1
print((moments[1] - moments[0]) / statistics.median(times[1:]))
"""
_SERVED = "from app.main import app"
_UNPREPARED = (
    "from pathlib import Path\nfrom app.settings import read_settings\nfrom app.web.application import make_app\n"
    "app = make_app(read_settings(Path({folder!r})))"
)


def ratio(path: Path, *, prepared: bool = True, rounds: int = ROUNDS) -> float:
    """Median over the rounds; `path` is the store."""
    application = _SERVED if prepared else _UNPREPARED.format(folder=str(path.parent))
    program = _PROGRAM.format(application=application, lines=LINES, store=str(path))
    with tempfile.TemporaryDirectory() as compiled:
        environment = start_environment(path.parent, compiled)
        printed_by(program, environment)  # compiles
        return statistics.median(printed_by(program, environment) for _ in range(rounds))


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = make_large_store(Path(folder) / "bench.sqlite", UNITS, TRIALS).path
        print(f"first ranking of {LINES} lines of a started server over raw SQL and Jinja2: {ratio(path):.2f}")
        print(f"the same if nothing is prepared: {ratio(path, prepared=False):.2f} (aim {AIM:g})")


if __name__ == "__main__":
    main()
