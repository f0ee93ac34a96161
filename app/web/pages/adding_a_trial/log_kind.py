"""What a log is, where it is no trial: the readings of a power meter or of a sound meter."""

from dataclasses import dataclass
from datetime import timedelta
from statistics import fmean

from app.compute.sound.levels import energy_mean
from app.compute.wording.rounding import rounded_text
from app.reading_files.log_table import LogTable
from app.web.pages.adding_a_trial.fields import zone_of


@dataclass(frozen=True, slots=True)
class OtherUse:
    """What a log without a channel that decays is a measurement of: "power" or "sound", and its mean."""

    what: str
    words: str
    level: str
    measured_on: str


def other_use_of(table: LogTable) -> OtherUse | None:
    day = local_time(table, 0)[:10] if table.clock_is_known else ""
    over = f"{rounded_text(float(table.elapsed_s[-1]) / 60, 0)}\u00a0min"
    known = {name: [float(level) for level in levels if level == level] for name, levels in table.levels.items()}
    if known.get("power"):
        mean = rounded_text(fmean(known["power"]), 1)
        return OtherUse("power", f"This is the log of a power meter: about {mean}\u00a0W over {over}.", mean, day)
    if known.get("sound_level"):
        mean = rounded_text(energy_mean(known["sound_level"]), 1)
        words = f"This is the log of a sound meter: {mean}\u00a0dB(A) over {over}, the mean by energy."
        return OtherUse("sound", words, mean, day)
    return None


def local_time(table: LogTable, place: int) -> str:
    if not table.clock_is_known:
        return f"{table.elapsed_s[place] / 60:.1f} min"
    moment = table.started_at + timedelta(seconds=float(table.elapsed_s[place]))
    return moment.astimezone(zone_of(table.timezone)).strftime("%Y-%m-%d %H:%M:%S")
