"""What one trial shows of its logger's noise."""

from app.compute.signal.blocks import Blocks
from app.compute.signal.events import RateEvent, find_event
from app.compute.signal.exponential_fit import ExponentialFit, fit_exponential
from app.compute.signal.logger_noise import GENERIC, LoggerNoise, evidence_of
from app.compute.signal.rate_table import BackgroundBounds

# A trial says something of its logger's noise from so many blocks on, and if its rate is known to this share; both:
# common practice, no source.
FEWEST_BLOCKS = 20
LARGEST_UNCERTAINTY = 0.2


def noise_evidence(
    blocks: Blocks, bounds: BackgroundBounds, fitted: ExponentialFit, event: RateEvent | None, of_logger: LoggerNoise
) -> tuple[float, ...]:
    """Log likelihood of each kind of noise over that of the likeliest; empty where the curve is not one exponential.

    It does not depend on what is known of the logger, nor does whether the curve counts as one exponential, so that
    the order in which trials are added is of no matter.
    """
    if of_logger != GENERIC:
        fitted = fit_exponential(blocks, bounds, fitted.start)
        event = find_event(blocks, fitted, bounds)
    is_decay = fitted.amplitude > 0 and fitted.uncertainty < LARGEST_UNCERTAINTY * fitted.rate
    return evidence_of(fitted.likelihood) if is_decay and event is None and blocks.time_h.size >= FEWEST_BLOCKS else ()
