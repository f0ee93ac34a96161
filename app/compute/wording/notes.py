"""Notes of an analysis: a code, a severity, the evidence, a plain sentence, and what to do about it."""

from dataclasses import dataclass
from typing import Literal

Severity = Literal["fine", "care", "unusable"]

# The sentence of each action: with a value, and without one ("" where it always has one).
ADVICE_WORDS: dict[str, tuple[str, str]] = {
    "set_unit_on": ("", "Set the unit-on mark to the time at which the unit was switched on."),
    "set_fit_start": ("Set the fit start to {:.1f} min after the first reading.", ""),
    "set_run_end": ("Set the run end to {:.1f} min after the first reading.", ""),
    "run_longer": ("Repeat the run and keep logging for at least {:.0f} min after unit on.", ""),
    "log_before_smoke": ("Repeat the run and log for at least {:.0f} min before the smoke.", ""),
    "log_faster": ("Repeat the run with a reading every {:.0f} s or faster.", ""),
    "more_smoke": ("Repeat the run with at least {:.1f} times as much smoke.", ""),
    "less_smoke": ("", "Repeat the run with less smoke, so that no reading reaches the detector's limit."),
    "repeat_undisturbed": (
        "",
        "Repeat the run with doors and windows closed, no other source and no change of speed.",
    ),
    "mix_first": (
        "",
        "Repeat the run: put out the source, and let a fan mix the smoke for some minutes before the switch-on.",
    ),
    "check_run": ("", "Check the columns and the marks; if they are right, repeat the run."),
    "keep_logging": ("", "Check the logger's power and memory, and repeat the run without a gap."),
    "set_clock": ("", "Set the logger's clock before the run and leave it alone until the end, then repeat the run."),
    "wait_for_background": ("", "Wait until the level before the smoke is stable."),
    "steady_humidity": ("", "Keep the humidity constant during the run, or dry the sampled air."),
    "steady_temperature": ("", "Let the temperature of the room settle before the run."),
    "clean_detectors": ("", "Check and clean both detectors, then repeat the run."),
}
# Where one log cannot tell which part of a run is right, the action has two values, either of which may be missing.
END_OR_START = "set_end_or_start"
_IF_CHANGED = "If the speed, a door or another source changed at that moment, {}; otherwise {}."
_REPEAT = "repeat the run undisturbed"


@dataclass(frozen=True, slots=True)
class Advice:
    """What to do: an action of `ADVICE_WORDS`, and its value (minutes, seconds or a factor, by the action).

    `END_OR_START` has the run end as its value and the fit start as its other value.

    >>> Advice("set_run_end", 31.25).words
    'Set the run end to 31.2 min after the first reading.'
    """

    action: str
    value: float | None = None
    other: float | None = None

    @property
    def words(self) -> str:
        if self.action == END_OR_START:
            end = _REPEAT if self.value is None else f"set the run end to {self.value:.1f} min after the first reading"
            start = _REPEAT if self.other is None else f"set the fit start to {self.other:.1f} min"
            return _IF_CHANGED.format(end, start)
        with_value, without = ADVICE_WORDS[self.action]
        return without if self.value is None else with_value.format(self.value)

    @property
    def marks(self) -> dict[str, float]:
        """Marks that it sets, alternatives of each other, in minutes after the first reading."""
        named = {
            "set_fit_start": {"fit_start": self.value},
            "set_run_end": {"end": self.value},
            END_OR_START: {"end": self.value, "fit_start": self.other},
        }.get(self.action, {})
        return {mark: at for mark, at in named.items() if at is not None}


@dataclass(frozen=True, slots=True)
class Note:
    """One finding about a trial or a result.

    code : stable name for scripts, lower_case_with_underscores
    severity : fine (for information), care (read before use), unusable (do not use the number)
    message : what was found and what was needed, with numbers and units
    value, limit : the evidence and the limit it was compared with, in `unit`
    at_min : where in the trial [min from unit on], None if it has no place
    advice : what to do about it
    """

    code: str
    severity: Severity
    message: str
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    at_min: float | None = None
    advice: Advice | None = None

    @property
    def text(self) -> str:
        """The finding and what to do about it."""
        return self.message if self.advice is None else f"{self.message} {self.advice.words}"
