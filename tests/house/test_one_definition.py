"""What is entered is defined once: no other class repeats the fields of a definition."""

import ast
import dataclasses
from pathlib import Path

from app.services.bench.definitions import BenchChoices, NewLogger, NewRoom, NewSmokeSource, NewTariff
from app.services.logs.logger_checks.definitions import NewLoggerCheck
from app.services.logs.trial_fields import NewTrial, TrialMarks
from app.services.measurements.definitions import (
    NewClaim,
    NewClip,
    NewOzoneTest,
    NewPowerMeasurement,
    NewRating,
    NewSoundMeasurement,
)
from app.services.units.definitions import NewConsumable, NewPrice, NewSetting, NewUnit
from tests.house.source import nodes_of

APP = Path(__file__).parents[2] / "app"
DEFINITIONS = (
    BenchChoices,
    NewUnit, NewSetting, NewPrice, NewConsumable, NewRoom, NewLogger, NewLoggerCheck, NewSmokeSource, NewTariff,
    NewSoundMeasurement, NewPowerMeasurement, NewOzoneTest, NewRating, NewClaim, NewClip, NewTrial, TrialMarks,
)  # fmt: skip
MOST_ALIKE = 3
# Classes that share more names with a definition, and why they are no copy of it.
ALLOWED = {
    "ConsumablePart": "a floor below: what the cost of a part is computed from",
    "ConsumableRow": "plain numbers of the snapshot, with the newest price beside them",
    "StatedClaim": "a floor below: what a claim is checked from",
    "CertifiedRate": "a floor below: what a rate is compared with",
    "SoundReading": "a floor below: what a level is computed from",
    "OwningChoices": "choices of one cost page, which begin with those of the bench",
    "RunningCostQuery": "the same in a query",
    "Offered": "plain values of the snapshot",
    "RankingRow": "one line of the ranking, as the snapshot holds it",
    "ListedUnit": "one line of the list of units",
    "_NamedUnit": "the columns by which the list of units is ordered",
    "TrialChange": "ids that can be changed and not removed, so that null is refused",
    "TrialFilter": "a filter by the same ids",
    "ImportLine": "one line of a manifest, which names things by words",
}


def named_fields(node: ast.ClassDef) -> set[str]:
    return {
        each.target.id for each in node.body if isinstance(each, ast.AnnAssign) and isinstance(each.target, ast.Name)
    }


def test_no_class_repeats_the_fields_of_a_definition():
    own = {each.__name__: {field.name for field in dataclasses.fields(each)} for each in DEFINITIONS}
    copies = []
    for path in sorted(APP.rglob("*.py")):
        if "storage" in path.parts:
            continue  # the tables hold the columns themselves
        for node in nodes_of(path):
            if not isinstance(node, ast.ClassDef) or node.name in own or node.name in ALLOWED:
                continue
            found = named_fields(node)
            copies += [
                f"{path.relative_to(APP)}: {node.name} repeats {', '.join(sorted(found & names))} of {definition}"
                for definition, names in own.items()
                if len(found & names) > MOST_ALIKE
            ]
    assert copies == [], "\n".join(copies)
