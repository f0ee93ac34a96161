"""How long a decay fit with its interval takes, as a multiple of a plain straight-line fit of the same size."""

import time
from collections.abc import Callable

import numpy as np

from app.compute.decay.analysis import analyse_decay
from app.compute.signal.background import background_bounds
from app.compute.signal.blocks import block_means
from app.compute.signal.exponential_fit import fit_exponential, quick_fit
from tests.studies.simulated_trial import Conditions, simulated_trial

READINGS = 10_800
FIT_LIMIT = 10.0  # times numpy.linalg.lstsq of 10,800 × 2


def median_ms(work: Callable[[], object], times: int = 80) -> float:
    """Median time of a piece of work, on this thread's own clock so that a busy machine does not count [ms]."""
    work()
    taken = []
    for _ in range(times):
        start = time.thread_time()
        work()
        taken.append(time.thread_time() - start)
    return 1000 * float(np.median(taken))


def decay_fit_ratio() -> dict[str, float]:
    """Fit with interval, and whole analysis, over numpy.linalg.lstsq of as many rows and two columns."""
    conditions = Conditions(3.0, 1.0, 0.9, 1.0, 180.0, 5.0, False)
    elapsed_s, levels = simulated_trial(np.random.default_rng(1), conditions)
    elapsed_s, levels = elapsed_s[:READINGS], levels[:READINGS]
    time_h = elapsed_s / 3600
    design = np.column_stack([np.ones(READINGS), time_h])
    logs = np.log(np.maximum(levels, 1.0))

    def fit() -> object:
        blocks = block_means(time_h, levels, 1 / 3600, 1.0)
        bounds = background_bounds(blocks, None, None, False, 1.0)
        return fit_exponential(blocks, bounds, quick_fit(blocks, bounds))

    reference = median_ms(lambda: np.linalg.lstsq(design, logs))
    fitted = median_ms(fit)
    whole = median_ms(lambda: analyse_decay(elapsed_s, levels, channel="pm2_5", unit="µg/m³"))
    return {
        "lstsq_ms": reference,
        "fit_ms": fitted,
        "analysis_ms": whole,
        "fit_over_lstsq": fitted / reference,
        "analysis_over_lstsq": whole / reference,
    }


def main() -> None:
    for name, value in decay_fit_ratio().items():
        print(f"{name:>20} {value:8.2f}")
    print(f"limit of fit_over_lstsq: {FIT_LIMIT:g}")


if __name__ == "__main__":
    main()
