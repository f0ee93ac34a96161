"""Name, version and plain-language description of the decay analysis. Every stored result records the version."""

from app.compute.study_figures import (
    CONTROL_CHART_WORDS,
    DECAY_COVERAGE,
    DISTURBANCE_WORDS,
    EARLY_STOP,
    EFFICIENCY_WORDS,
    SMALL_SAMPLES,
    TWO_RATES,
    UNIT_ON_WORDS,
)

METHOD_NAME = "single exponential with drifting background, weighted, memory of the noise weighed in"
METHOD_VERSION = "2.4"

# One sentence each, in the order in which pages and exports print them.
METHOD_DESCRIPTION = (
    "The room is assumed to be well mixed: after the unit is switched on, the level falls as one exponential towards "
    "a background, C(t) = Cb + A exp(−k t), and k is the decay rate.",
    "Smoke start, peak, unit on and run end are detected from the readings unless someone set marks; marks always "
    "take precedence.",
    "Without a mark, unit on is the moment at which the slope breaks: the curve with the unit running is extended "
    "backwards, and the readings before that moment follow a slower exponential and mixing. Unit on is the mean of its "
    "posterior distribution, and the standard deviation is part of the uncertainty of the time to clear. Where that "
    "exceeds three minutes, or where the mean lies before the peak, unit on is taken at the peak and its uncertainty "
    "includes the distance. An empty-room run counts from its peak.",
    "Values that a logger repeats between true readings, and cells without a number, are not readings.",
    "The fit window starts two minutes after unit on or the peak, whichever is later, or three logger response times "
    "after it if that is longer.",
    "Readings at the detector's limit are excluded, and the window starts after the last of them. A logger that shows "
    "nothing below zero cuts one side of its noise off there, so the window ends where the level falls to one and a "
    "half standard deviations of that noise.",
    "The excess over the background counts until it falls to five display steps or to 1 % of its start. The window "
    "goes on for as long again, because the readings there determine the background; it keeps at least fifteen "
    "readings.",
    "Where the start of the window falls faster or more slowly than the rest, because mixing was not finished or smoke "
    "was still entering, the window starts after that part and a note says so, unless someone marked the start. A note "
    "also says where the level rose after a marked switch-on for so long that the unit removes 13 % of the smoke in "
    "that time.",
    "The background is fitted between zero and the lowest level of the window plus two standard deviations of its "
    "noise and rounding: the room never falls below its background, but a reading does.",
    "Readings before the smoke constrain it: to their level ± 10 % in an empty room; with a unit running to half their "
    "level ± 40 %, because the unit also cleans the air that leaks in, so that the background may be anywhere between "
    "zero and that level. A background set by a person is used as given.",
    "Where the background before the smoke is known, it may drift: steadily, in three of four runs by 7 % of its level "
    "per hour and in one by 50 % (standard deviations) in an empty room, and by less with a unit running, in "
    "proportion to 0.6 per hour over k. The readings after the decay show which it is and limit it; what remains is "
    "in the interval.",
    "Weights follow the noise: proportional to the level above a floor estimated from the changes of the residuals, "
    "plus the display rounding.",
    "Logger noise has a memory. Memories from 3 s to 51 min, parts of independent noise, and flicker with equal parts "
    "of all memories are weighted by how well each explains the residuals and by how probable it is for this logger, "
    "and the interval of k includes what remains uncertain. Means over the interval of a reading vary more smoothly "
    "than readings of a moment. Both are weighted in the same way, unless the fit averages more than three readings.",
    "How probable each kind of noise is follows from the other trials of the same logger and channel (the forty "
    "nearest in order of entry that are one exponential): their shares maximize the likelihood of all of them, with "
    "generic shares that count as one trial (common practice, no source). `hazefall recompute` learns them from all "
    "trials of the bench and lists what moves; once that is accepted, new trials use them too. Before that, and for a "
    "logger without other trials, the generic shares are used. Each result keeps its shares and the number of trials.",
    "Readings count as means over their interval, which changes the level of the curve and not its rate. How long a "
    "logger averages and where in that time its stamp is are entered once for each logger, because a log does not show "
    "them. Readings then count at the middle of their averaging time: a mean over 60 s stamped at its end is 30 s "
    "late, and so would be unit on or a time to clear from a mark. Where they are not entered, the stamp counts as "
    "the middle, and the time to clear includes a rectangle of one interval.",
    "The rate is the centre of its probability distribution, the 95 % interval is symmetric about it, and its "
    "degrees of freedom follow from its shape.",
    "Long logs are first averaged over at most 120 equal intervals, which changes neither the rate nor the slow "
    "drift that determines its uncertainty.",
    "The rate is recalculated in six other windows. Where it changes by more than two standard deviations of its noise "
    "and by more than its uncertainty, the change is added to the uncertainty; from 2.8 on a note says so.",
    "The interval includes a systematic budget, shown on the page of a trial: background drift, linearity (0.1 % of "
    "the rate; common practice, no source, or what a curvature does that the last check of the logger shows beside a "
    "reference), sensor warm-up (6 % of gain at the first reading, time constant 10 min; "
    "common practice, no source), other windows and humidity, and for the clean air delivery rate the room volume. "
    "Drift of the sensor's gain and coincidence losses below the detector's limit are assumed to be none, because one "
    "log cannot show them.",
    "The residuals are searched for a change of rate, a jump, a passing event and a second exponential; findings are "
    "reported with their time, and where one changes the rate by more than a fifth, the rate is not used unless a "
    "person sets another window.",
    TWO_RATES,
    "Each channel of a trial has one verdict: usable, check (usable, with reasons) or unusable. An unusable one gives "
    "neither a rate nor a time, anywhere.",
    "A curve that explains less than a tenth of the spread of the readings gives no usable rate.",
    "Where the humidity changes during the window, an optical sensor reads the growth of wet particles as smoke; the "
    "rate is not corrected for it, but its uncertainty includes the root mean square of a shift anywhere between "
    "zero and that of the most hygroscopic smoke.",
    "The time to clear is the first moment at which the smoothed level falls to the clear level and stays there for "
    "two minutes; a run that ends before that is reported as not cleared within its length.",
    "Repeats share the effect of humidity and the change over other windows, and repeats with one logger share its "
    "warm-up and its linearity, so averaging reduces none of these. In a ratio of two units measured with one logger "
    "its linearity cancels, as do the volume of a common room and a common natural decay. Warm-up does not cancel, "
    "because a log does not show whether the sensor was cold.",
    "The spread between trials of one setting is assumed to be 5 % of the rate (root mean square, five degrees of "
    "freedom; common practice, no source). Repeats of the whole bench update it. A single trial has this spread in its "
    "interval, which in a ranking is never narrower than its own. The scatter of repeats is combined with it by "
    "degrees of freedom. Where two settings are compared, the spread counts as one quantity.",
    "The median time to clear of up to five trials is that of log-normal times. Their spread is that of the rate, of "
    "20 % more or less smoke (common practice, no source), and of each time itself. Runs that did not clear count as "
    "longer. From six trials on median and interval are those of Kaplan and Meier, where bounded; up to eight the "
    "interval also contains the log-normal one.",
    "The natural decay of a trial is that of its week, by a random walk through the empty-room runs of the same room, "
    "channel and aerosol; smoke, dust and pollen are never mixed. Its step size and "
    "the spread between days are weighed by their restricted likelihood. Before the runs show them, 25 % between days "
    "and of drift in a month are assumed (common practice, no source). The further the runs, the wider the "
    "interval; a trial more than fourteen days from the nearest run has a note.",
    "Where a room has a check unit with four or more runs, the spread between them, beyond their own uncertainties, is "
    "in the interval of every clean air delivery rate there, as a line of the budget. A mean of repeats has what "
    "exceeds the repeatability of the bench, and repeating does not reduce it.",
    f"Control chart of a room: {CONTROL_CHART_WORDS[:1].lower()}{CONTROL_CHART_WORDS[1:]}",
    *SMALL_SAMPLES,
    *DECAY_COVERAGE,
    EFFICIENCY_WORDS,
    DISTURBANCE_WORDS,
    UNIT_ON_WORDS,
    EARLY_STOP,
)
