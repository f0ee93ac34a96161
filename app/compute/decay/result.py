"""Results of a decay analysis of one channel of one trial. Times are in hours on the log's own clock
(zero at the first reading of the log) unless a name says otherwise; levels in the unit of the channel."""

from dataclasses import dataclass

from app.compute.decay.verdict import Verdict, verdict_of
from app.compute.signal.logger_noise import GENERIC, LoggerNoise
from app.compute.statistics.measured import Measured
from app.compute.wording.notes import Note


@dataclass(frozen=True, slots=True)
class Marks:
    """Marks set by a person; None: detected from the data. [h on the log's clock]

    unit_on_h is the time from which the level is counted as decaying: the switch-on of the unit, or in an
    empty-room run the moment from which nobody disturbed the room. smoke_end_h is the end of the source: before it the
    level is no decay, whatever it does.
    """

    smoke_start_h: float | None = None
    smoke_end_h: float | None = None
    unit_on_h: float | None = None
    fit_start_h: float | None = None
    fit_end_h: float | None = None
    end_h: float | None = None
    background_level: float | None = None


@dataclass(frozen=True, slots=True)
class ClearLevel:
    """The level that counts as cleared: `absolute` (in the channel's unit), `share_of_start` (0 to 1), or
    `background` (return to the background before the smoke, plus `value` in the channel's unit)."""

    kind: str = "absolute"
    value: float = 10.0


@dataclass(frozen=True, slots=True)
class TimeToClear:
    """First sustained crossing of the clear level, counted from unit on [min].

    reached False is right-censored: the level was not reached before `not_before_min`, the end of the run.
    predicted is the fitted curve's own crossing, an estimate; None where it never does, or at no determinable time.
    uncertainty_min is the standard uncertainty of `value_min`, None where it cannot be estimated.
    """

    reached: bool
    value_min: float | None
    not_before_min: float | None
    predicted: Measured | None
    clear_level: float
    uncertainty_min: float | None = None


@dataclass(frozen=True, slots=True)
class DecayFit:
    """Least-squares fit of C(t) = Cb + A exp(-k (t - t_on)), t_on = unit on.

    decay_rate : k with standard uncertainty and degrees of freedom, autocorrelation and window choice included [1/h]
    statistical_uncertainty_per_h : the part from the residuals alone [1/h]
    window_sensitivity_per_h : spread of k over other defensible windows [1/h]
    humidity_uncertainty_per_h : the part from humidity that changed during the window, included in that of k; trials of
        one
            unit share it, so repeats do not reduce it [1/h]
    background_drift_uncertainty_per_h, warm_up_uncertainty_per_h : lines of the systematic budget; the first is part
        of the statistical uncertainty as well [1/h]
    curvature_uncertainty_per_h : of a curvature that a check of the logger shows; 0: the general line for linearity
        counts instead [1/h]
    background, amplitude : Cb and A [unit of the channel]
    covariance : 3 x 3, order (background, amplitude, decay rate)
    background_choice : "fitted", "before the smoke" or "given"
    residual_spread : relative standard deviation of the residuals against their expected spread
    lag_one_autocorrelation : of the weighted residuals
    """

    fit_converged: bool
    why_not: str
    decay_rate: Measured | None
    statistical_uncertainty_per_h: float
    window_sensitivity_per_h: float
    background: Measured | None
    amplitude: Measured | None
    covariance: tuple[tuple[float, float, float], ...]
    background_choice: str
    window_start_h: float
    window_end_h: float
    readings_fitted: int
    r_squared: float
    residual_spread: float
    lag_one_autocorrelation: float
    humidity_uncertainty_per_h: float = 0.0
    background_drift_uncertainty_per_h: float = 0.0
    warm_up_uncertainty_per_h: float = 0.0
    curvature_uncertainty_per_h: float = 0.0


@dataclass(frozen=True, slots=True)
class ChannelDecay:
    """Result of the analysis of one channel. `fit` is None where no decay could be found.

    start_level_uncertainty : standard uncertainty of the level at unit on, None with too few readings around it
    unit_on_uncertainty_h : standard uncertainty of unit on, in the time to clear already; 0 with a mark
    rejected_fit : the fit of an unusable trial, for drawing only
    of_logger : what was known of the logger's noise before this trial
    noise_evidence : log likelihood of each kind of noise; empty where the curve is not one exponential
    late_h : how much later than they count readings are stamped; the times of the result are corrected for it
    """

    channel: str
    unit: str
    smoke_start_h: float | None
    peak_h: float | None
    unit_on_h: float
    end_h: float
    unit_on_found: bool
    interval_s: float
    readings: int
    start_level: float
    peak_level: float
    end_level: float
    fit: DecayFit | None
    time_to_clear: TimeToClear
    notes: tuple[Note, ...]
    start_level_uncertainty: float | None = None
    unit_on_uncertainty_h: float = 0.0
    rejected_fit: DecayFit | None = None
    of_logger: LoggerNoise = GENERIC
    noise_evidence: tuple[float, ...] = ()
    late_h: float = 0.0

    @property
    def unit_on_min(self) -> Measured:
        """Unit on, counted from the first reading [min]."""
        return Measured(60 * self.unit_on_h, 60 * self.unit_on_uncertainty_h)

    @property
    def start_level_measured(self) -> Measured | None:
        return _measured(self.start_level, self.start_level_uncertainty)

    @property
    def time_to_clear_measured(self) -> Measured | None:
        return _measured(self.time_to_clear.value_min, self.time_to_clear.uncertainty_min)

    @property
    def verdict(self) -> Verdict:
        return verdict_of(self.notes)

    @property
    def usable(self) -> bool:
        """Whether there are results; a channel without a rate always has an unusable note."""
        return self.verdict.status != "unusable"


def _measured(value: float | None, uncertainty: float | None) -> Measured | None:
    return None if value is None or uncertainty is None else Measured(value, uncertainty)
