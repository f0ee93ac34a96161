"""Nothing in the program is unused: vulture reads the code, and each exception below has its reason."""

import re
from functools import cache
from pathlib import Path

from vulture import Vulture

ROOT = Path(__file__).resolve().parents[2]
CALLED_BY_A_LIBRARY = ["@event.listens_for", "@compiles", "@router.*", "@*_router.*", "@app.*", "@model_validator"]

# Names that vulture finds unused, with the reason why each one stays.
STAYS = {
    # assigned for a library that reads the name
    "model_config": "pydantic reads it",
    "impl": "SQLAlchemy reads it",
    "cache_ok": "SQLAlchemy reads it",
    "inherit_cache": "SQLAlchemy reads it",
    "process_result_value": "SQLAlchemy calls it",
    "isolation_level": "sqlite3 and psycopg read it",
    "alignment": "openpyxl writes it",
    "freeze_panes": "openpyxl writes it",
    "number_format": "openpyxl writes it",
    "data_type": "openpyxl writes it",
    "quotePrefix": "openpyxl writes it",
    "created": "openpyxl writes it",
    "modified": "openpyxl writes it",
    "creator": "openpyxl writes it",
    "compress_type": "zipfile writes it",
    "external_attr": "zipfile writes it",
    "total_tokens": "anyio reads it",
    "redirect_request": "urllib calls it",
    "_unsupported_upgrade_warning": "uvicorn calls it",
    "SessionExpiryInterval": "paho-mqtt sends it",
    "ReceiveMaximum": "paho-mqtt sends it",
    # checks of the method against values from outside read them
    "fit_linear": "checked against NIST's certified values",
    "fit_least_squares": "checked against NIST's certified values",
    "standard_errors": "checked against NIST's certified values",
    "residual_sum_of_squares": "checked against NIST's certified values",
    "residual_sd": "checked against NIST's certified values",
    "covariance_of_means": "checked against the worked examples of JCGM 100",
    "response_db": "checked against the table of IEC 61672-1",
    "greenwood_error": "checked against the remission data",
    "hartung_knapp_uncertainty": "checked against statsmodels",
    "diameter_growth": "checked against the published formula of growth in humid air",
    "combine_trials": "one of the many settings that the program combines at once; tests and studies call it",
    "combine_times_to_clear": "likewise",
    "median_of_times": "likewise",
    # facts that are kept for the reader of a record or of the code
    "ENVIRONMENT": "a test compares it with the README's table of settings",
    "add_trial": "tests and benchmarks add a log in one call",
    "forget_snapshot": "tests and benchmarks start from an empty cache",
    "true_rate": "tests of the demo compare what the analysis finds with it",
    "rows_read": "the tests of the readers count rows by it",
}


@cache
def words_of_templates() -> frozenset[str]:
    """Every word of the templates: a field or property that one of them names is used."""
    return frozenset(
        word
        for path in (ROOT / "templates").rglob("*")
        if path.is_file()
        for word in re.findall(r"[A-Za-z_]\w*", path.read_text())
    )


def is_stored_or_sent(path: Path, line: int) -> bool:
    """A column of a table, which the data package writes out, or a field of the API's JSON."""
    text = path.read_text().splitlines()[line - 1]
    if "models" in path.parts:
        return "Mapped[" in text
    return "api" in path.parts and re.match(r"    \w+: ", text) is not None


def unused() -> dict[str, str]:
    """Name to place of what nothing uses."""
    scan = Vulture(ignore_decorators=CALLED_BY_A_LIBRARY)
    scan.scavenge([str(ROOT / "app"), str(ROOT / "seed_demo")])
    return {
        item.name: f"{Path(item.filename).relative_to(ROOT)}:{item.first_lineno} {item.typ} {item.name}"
        for item in scan.get_unused_code(min_confidence=60)
        if item.name not in words_of_templates() and not is_stored_or_sent(Path(item.filename), item.first_lineno)
    }


def test_nothing_is_unused_without_a_reason():
    found = unused()
    assert [place for name, place in found.items() if name not in STAYS] == []
    assert STAYS.keys() - found.keys() == set(), "these names are used, so they need no reason"
