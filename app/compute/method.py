"""Name, version and plain-language description of the decay analysis. Every stored result records the version."""

from app.compute.study_figures import DECAY_COVERAGE, TWO_RATES

METHOD_NAME = "single exponential with background, weighted, autocorrelation weighed in"
METHOD_VERSION = "1.2"

# One sentence each, in the order in which pages and exports print them.
METHOD_DESCRIPTION = (
    "The room is taken as well mixed: after the unit is switched on, the level falls as one exponential towards a "
    "background, C(t) = Cb + A exp(−k t), and k is the decay rate.",
    "The start of the smoke, the peak, unit on and the end are found from the readings unless a person marked them; "
    "marks always stand.",
    "Values that a logger repeats between true readings, and cells without a number, are not readings.",
    "The fit window starts two minutes after the later of unit on and peak, or three response times of the logger "
    "after it if those are longer.",
    "Readings at the detector's limit are left out, and the window starts after the last of them.",
    "The window ends where the excess over the background falls to five steps of the display or to 1 % of its start, "
    "but is not cut below fifteen readings.",
    "The background is fitted between zero and the lowest level of the window plus two standard deviations of its "
    "noise and rounding: the room never falls below its background, but a reading does.",
    "Readings before the smoke hold it to their level: to 10 % of it in an empty room, and to 40 % of it with a unit "
    "running, for a unit also cleans what leaks in; a background that a person gave is kept.",
    "Weights follow the noise: proportional to the level above a floor that is found from the residuals, plus the "
    "rounding of the display.",
    "Noise of loggers drifts from one reading to the next; how much is not known, so every amount of drift is weighed "
    "by how well it explains the residuals, and the interval of k carries what is left open.",
    "The rate is the middle of its probability, the 95 % interval is symmetrical about it, and its degrees of freedom "
    "follow from its shape.",
    "Long logs are averaged over at most 120 equal stretches first, which changes neither the rate nor the slow drift "
    "that decides its uncertainty.",
    "The rate is worked out again in six other windows; where it moves by more than its noise explains and by more "
    "than its uncertainty, the move is added to the uncertainty.",
    "The residuals are searched for a change of rate, a jump, a passing event and a second exponential; what is found "
    "is told with its time, and where it moves the rate by more than a fifth the rate is not used unless a person sets "
    "another window.",
    TWO_RATES,
    "A curve that explains less than a tenth of the spread of the readings gives no rate that is used.",
    "Where the humidity changes during the window, an optical sensor reads the growth of wet particles as smoke; the "
    "rate is not corrected for it, but its uncertainty holds the root mean square of a shift anywhere from nothing to "
    "that of the most water-loving smoke. Repeats of one unit share this part, so they do not average it out.",
    "The time to clear is the first moment at which the smoothed level falls to the clear level and stays there for "
    "two minutes; a run that ends before is told as not cleared within its length.",
    "A single trial takes the spread between trials from the repeats of the bench; its interval in a ranking is never "
    "narrower than its own.",
    *DECAY_COVERAGE,
)
