"""The two texts of a data package: readme and method."""

from app.compute.method import METHOD_NAME, METHOD_VERSION
from app.storage.models.bench import Bench


def readme_text(bench_name: str, scenario: str, invented: bool, whole: bool) -> bytes:
    """README of the package: contents, and how to check it."""
    first = f"**Demonstration with invented data.** {scenario or 'Everything here is made up.'}\n\n" if invented else ""
    lent = (
        ""
        if whole
        else (
            "This package holds some units of a bench. How much repeats differ on the whole bench enters the "
            "intervals of settings with few trials; `results/bench_repeatability.csv` holds that figure as the bench "
            "found it, and it cannot be recomputed from this package alone.\n\n"
        )
    )
    return f"""# {bench_name}: data package

{first}It follows the Frictionless Data Package standard: `datapackage.json` lists every file with its size, its
SHA-256 and, for tables, the type of every column.

| folder | holds |
| --- | --- |
| `raw/` | the files of the loggers, byte for byte, each named by its SHA-256 |
| `readings/` | what was read from each file: seconds from the first reading, and a column a channel |
| `data/` | units, settings, rooms, loggers, trials with their marks, prices, sound, power, ratings, claims, changes |
| `results/` | results of each trial and channel, the pools of empty-room runs, and the summary of each setting |
| `method.md` | how the numbers are made |

A column ends in its unit. An empty cell is a value that does not exist. `uncertainty` is the standard uncertainty;
`low_95` and `high_95` are the ends of the 95 % interval. Marks are seconds from the first reading of the log; where a
mark is empty it was detected from the readings. A text that a spreadsheet would take for a formula has an apostrophe
before it. Names of people, serial numbers and recordings of sound are left out.

{lent}## Check it

    hazefall check PACKAGE.zip

rereads the raw files, re-analyses them and compares every number in `results/`. It needs
no access to the bench that the package comes from.

Smoke measurements are not medical advice: people with asthma, allergies or lung disease should ask a doctor.
""".encode()


def method_text(bench: Bench) -> bytes:
    """The method in equations and sentences, with the bench's own choices."""
    return f"""# How the numbers are made

Method {METHOD_VERSION}: {METHOD_NAME}.

1. **Decay rate.** From unit on, the level follows C(t) = b + A exp(-k t): b is the background, A the excess at unit
   on, k the total decay rate [1/h]. b, A and k are found by weighted least squares within a fit window that begins once
   the room is mixed and ends before the readings sink into the background. The standard error allows for the
   autocorrelation of the readings; the sensitivity of k to other defensible windows is part of its uncertainty.
2. **Natural decay.** Runs of the empty room give the decay without a unit. Those of the same room, channel and aerosol
   that are no older than {bench.natural_decay_stale_after_days} days give a random walk in time with a spread between
   days, interpolated to the week of each trial (`results/natural_decay_pools.csv` and
   `results/natural_decay_pool_runs.csv`).
3. **Clean air delivery rate.** V (k_total - k_natural) [m³/h], V being the volume of the room with its uncertainty.
   Without an empty-room run it is not available. A rate that cannot be distinguished from zero is given as "at most".
4. **Times.** Time to 95 % reduction is ln(20) / k_total. Time to clear is the first lasting crossing of the clear
   level; a run that ended before is a lower bound. The bench's clear level: {bench.clear_level_value:g}
   ({bench.clear_level_kind.replace("_", " ")}).
5. **Repeats.** Trials of one setting, room and aerosol are combined with the spread between them: an assumed one,
   updated by all repeats of the bench (`results/bench_repeatability.csv`; without a row there, the assumption alone).
6. **Sound** is the energy mean of the measurements, corrected for the background by {bench.sound_correction_rule} and
   brought to {bench.standard_distance_m:g} m by 20 lg(r2 / r1).
7. **Running cost** is energy times the tariff plus consumables, for {bench.hours_per_day:g} h per day on
   {bench.days_per_year:g} days per year.

Optical sensors estimate mass from scattered light, and read high in humid air. Rates apply to the aerosol
that was tested.
""".encode()
