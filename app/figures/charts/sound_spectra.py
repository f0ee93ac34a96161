"""Chart of third-octave spectra of clips."""

from collections.abc import Sequence

from app.compute.wording.numbers import counted, listed
from app.figures.chart import Axis, Chart, Series
from app.figures.charts.house_style import house_style
from app.figures.palette import cues
from app.services.bench.chart_facts import ChartFacts
from app.services.measurements.listening import ListedClip

LOWEST_HZ = 25.0  # below it results of a small room and most recorders are meaningless
LOWEST_DBA = 0.0  # about the threshold of hearing


def sound_spectra_chart(clips: Sequence[ListedClip], facts: ChartFacts) -> Chart:
    """A-weighted level of each third octave; only calibrated clips can be compared."""
    series = tuple(
        Series(
            entry.name,
            "line",
            tuple(band.nominal_hz for band in bands),
            tuple(band.level_dba for band in bands),
            hover=tuple(f"{entry.name}: {band.level_dba:.0f} dB(A) at {band.nominal_hz:g} Hz" for band in bands),
            colour=colour,
            dash=dash,
            end_label=entry.name,
        )
        for entry, (colour, dash) in zip(clips, cues(len(clips)), strict=True)
        if (bands := [band for band in entry.clip.bands if band.nominal_hz >= LOWEST_HZ])
    )
    return Chart(
        name="sound-spectra",
        title=_title(clips),
        subtitle="A-weighted third-octave levels, each at its recording distance",
        x_axis=Axis("Frequency", "Hz", "log"),
        y_axis=Axis("Third-octave level", "dB(A)", low=LOWEST_DBA),
        series=series,
        alt_text=spectra_text(clips),
        source_line=facts.source_line(counted(len(clips), "clip")),
        x_column="frequency_hz",
        y_column="level_dba",
        house=house_style(facts),
    )


def _title(clips: Sequence[ListedClip]) -> str:
    """The clips with a prominent tone; without any, the range of the levels."""
    if not clips:
        return "Sound spectra"
    tones = [
        f"{entry.name} at {listed([f'{tone.frequency_hz:.0f}' for tone in prominent])}\u00a0Hz"
        for entry in clips
        if (prominent := [tone for tone in entry.clip.tones if tone.prominent])
    ]
    if tones:
        return f"Prominent tones: {listed(tones)}"
    levels = sorted(entry.clip.equivalent_level_dba for entry in clips)
    ends = [f"{level:.0f}" for level in (levels[0], levels[-1])]
    return f"No prominent tone; {' to '.join(dict.fromkeys(ends))}\u00a0dB(A), each at its own distance"


def spectra_text(clips: Sequence[ListedClip]) -> str:
    """The level of each clip and its prominent tones."""
    if not clips:
        return "No calibrated clip selected."
    words = []
    for entry in clips:
        tones = [f"{tone.frequency_hz:.0f} Hz" for tone in entry.clip.tones if tone.prominent]
        with_tones = f" with a prominent tone at {listed(tones)}" if tones else ""
        words.append(f"{entry.name} {entry.clip.equivalent_level_dba:.0f} dB(A){with_tones}")
    return "; ".join(words) + "."
