"""When a reading counts and how long the sensor has been on: what a log cannot show and its logger's record can."""

from dataclasses import dataclass

STAMPS = ("start", "middle", "end")
_AFTER_THE_MIDDLE = {"start": -0.5, "middle": 0.0, "end": 0.5}


@dataclass(frozen=True, slots=True)
class LoggerTiming:
    """averaging_s : each reading is the mean over so long, 0 for a momentary one [s]
    stamp : where in that time its time stamp is, one of STAMPS
    on_before_min : the sensor is on for so long before the first reading, at least [min]

    None, or empty, where it is not known.
    """

    averaging_s: float | None = None
    stamp: str = ""
    on_before_min: float | None = None

    @property
    def is_known(self) -> bool:
        """Whether it is known when a reading counts."""
        return self.averaging_s == 0 or (self.averaging_s is not None and self.stamp in STAMPS)

    @property
    def late_s(self) -> float:
        """How much later than the middle of its averaging time a reading is stamped; 0 where that is not known [s].

        >>> LoggerTiming(60.0, "end").late_s, LoggerTiming(60.0, "start").late_s, LoggerTiming(60.0).late_s
        (30.0, -30.0, 0.0)
        """
        if self.averaging_s is None or not self.is_known:
            return 0.0
        return self.averaging_s * _AFTER_THE_MIDDLE.get(self.stamp, 0.0)

    def open_h(self, interval_h: float) -> float:
        """Width of the rectangle in which the moment of a reading lies [h].

        >>> LoggerTiming(60.0, "end").open_h(1.0), LoggerTiming().open_h(1.0)
        (0.0, 1.0)
        """
        return 0.0 if self.is_known else interval_h


NOT_KNOWN = LoggerTiming()
