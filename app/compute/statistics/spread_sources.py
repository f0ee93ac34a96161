"""Where the spread between trials comes from, and what is assumed about it; loaded by pages that compute nothing."""

OWN_REPEATS = "own repeats"
BENCH = "bench repeatability"
OWN_AND_BENCH = "own repeats and bench repeatability"
ASSUMED = "assumed spread"
OWN_AND_ASSUMED = "own repeats and assumed spread"
ON_ASSUMPTION = (ASSUMED, OWN_AND_ASSUMED)

# Root mean square of what repeats of one setting in one room differ by, days apart. Common practice, no source.
ASSUMED_RELATIVE_SD = 0.05
# Fewer degrees of freedom hold 90 % of pairs at twice this spread only with intervals of single trials that are 2.4
# times as wide, and for single trials no assumption does: tests/studies/tables/small_samples.txt, "Other assumptions".
ASSUMED_DEGREES_OF_FREEDOM = 5.0
