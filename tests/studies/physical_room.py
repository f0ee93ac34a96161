"""A trial as physics makes it: smoke spreads between zones of a room, a unit is switched on, a logger reads one zone.

Nothing here uses the analysis. Disturbances act where they arise: late smoke in the source, slow mixing in the exchange
between zones, drift of the background in the incoming air, warm-up and coincidence in the sensor. Noise has its memory
in seconds, whatever the sampling interval.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.linalg import expm
from scipy.signal import lfilter

from tests.studies.simulated_trial import Floats

STEP_S = 1.0


@dataclass(frozen=True, slots=True)
class Room:
    """volume_m3 : of the air [m³]
    zone_shares : of the volume, the source in the first zone;  logger_zone : index of the logger's, by default the last
    exchange_m3_per_h : between neighbouring zones, unit off [m³/h]
    air_change_per_h : with the outdoors [1/h];  deposition_per_h : loss to surfaces [1/h]
    incoming : level of particles that the incoming air adds, after losses on its way [µg/m³]
    incoming_drift_per_h : change of that level [µg/m³ per h];  residue : excess of the first reading [µg/m³]
    """

    volume_m3: float = 30.0
    zone_shares: tuple[float, ...] = (0.2, 0.8)
    logger_zone: int = -1
    exchange_m3_per_h: float = 200.0
    air_change_per_h: float = 0.3
    deposition_per_h: float = 0.15
    incoming: float = 6.0
    incoming_drift_per_h: float = 0.0
    residue: float = 0.0


@dataclass(frozen=True, slots=True)
class Run:
    """Times on the log's clock [min]. The source emits evenly from smoke_start to smoke_end, so much that the room
    rises by `rise`; then a share of that emission smoulders on and falls by e in smoulder_min.

    clean_air_m3_per_h : of the unit [m³/h], in all zones alike;  stirring_m3_per_h : exchange that its fan adds
    later_min : from then on [min on the log's clock] later_clean_air_m3_per_h is added to the clean air, whether by a
        higher speed or by an open door;  second_smoke_min : a minute of smoke that raises the room by second_rise
    """

    smoke_start_min: float
    smoke_end_min: float
    unit_on_min: float
    end_min: float
    clean_air_m3_per_h: float
    stirring_m3_per_h: float = 600.0
    rise: float = 400.0
    smoulder_share: float = 0.0
    smoulder_min: float = 5.0
    later_min: float = math.inf
    later_clean_air_m3_per_h: float = 0.0
    second_smoke_min: float = math.inf
    second_rise: float = 0.0


@dataclass(frozen=True, slots=True)
class Sensor:
    """interval_s : between readings; averaging_s : each is the mean of so long before it, 0 for a momentary one
    response_s : time constant of a first-order answer;  resolution : display step [µg/m³]
    relative_noise, floor_noise : standard deviation as a share of the level, and at level zero [µg/m³]
    memory_s : of that noise, 0 for none;  flicker : further relative noise with equal power in every octave of time
    coincidence_level : level at which a share 1/e of the particles is lost, infinite for none [µg/m³]
    warm_up_share, warm_up_min : excess of the gain at the first reading, and its time constant
    """

    interval_s: float = 10.0
    averaging_s: float = 0.0
    response_s: float = 6.0
    resolution: float = 0.1
    relative_noise: float = 0.02
    floor_noise: float = 0.3
    memory_s: float = 30.0
    flicker: float = 0.0
    coincidence_level: float = math.inf
    warm_up_share: float = 0.0
    warm_up_min: float = 10.0


@dataclass(frozen=True, slots=True)
class PhysicalTrial:
    """Readings, and what is true: the level at the logger on a grid of one second, and the rate with the unit on."""

    elapsed_s: Floats
    readings: Floats
    true_s: Floats
    true_level: Floats
    unit_on_min: float
    rate_per_h: float

    def time_to_clear_min(self, clear_level: float) -> float | None:
        """From unit on to the last moment above the level [min]; None where the run ends before."""
        above = np.flatnonzero(self.true_level > clear_level)
        if above.size == 0 or above[-1] + 1 >= self.true_level.size:
            return None
        return float(self.true_s[above[-1] + 1]) / 60 - self.unit_on_min


def physical_trial(rng: np.random.Generator, room: Room, run: Run, sensor: Sensor) -> PhysicalTrial:
    true_s = np.arange(0.0, 60 * run.end_min + STEP_S / 2, STEP_S)
    level = zone_levels(true_s, room, run)[:, room.logger_zone]
    rate = room.air_change_per_h + room.deposition_per_h + run.clean_air_m3_per_h / room.volume_m3
    elapsed_s, readings = sensor_readings(rng, true_s, level, sensor)
    return PhysicalTrial(elapsed_s, readings, true_s, level, run.unit_on_min, rate)


def zone_levels(true_s: Floats, room: Room, run: Run) -> Floats:
    r"""Levels of all zones, one row for each moment.

    .. math:: \dot C_i = S_i(t)/V_i + \sum_j F_{ij}(C_j - C_i)/V_i + \lambda\,C_{in}(t) - (\lambda + \beta + Q/V)\,C_i

    Between two moments source and incoming air are constant, so each step is the exact solution.
    """
    shares = np.array(room.zone_shares)
    volumes = room.volume_m3 * shares
    time_min = true_s / 60
    emission = _emission(time_min, run, room)
    incoming = np.maximum(room.incoming + room.incoming_drift_per_h * time_min / 60, 0.0)
    cleaned = (0.0, run.clean_air_m3_per_h, run.clean_air_m3_per_h + run.later_clean_air_m3_per_h)
    steps = [_step(_matrix(room, volumes, run, clean_air)) for clean_air in cleaned]
    levels = np.empty((true_s.size, shares.size))
    losses = room.air_change_per_h + room.deposition_per_h
    levels[0] = room.air_change_per_h * incoming[0] / losses + room.residue
    sources = np.zeros((true_s.size - 1, shares.size))
    sources[:] = room.air_change_per_h * incoming[:-1, None]
    sources[:, 0] += emission[:-1] / volumes[0]
    number = (time_min[:-1] >= run.unit_on_min).astype(int) + (time_min[:-1] >= run.later_min)
    begins = np.flatnonzero(np.append(True, np.diff(number) != 0)).tolist()
    for begin, end in zip(begins, [*begins[1:], true_s.size - 1], strict=True):
        step, gain = steps[number[begin]]
        levels[begin + 1 : end + 1] = _steps_from(levels[begin], step, sources[begin:end] @ gain.T)
    return levels


def _steps_from(level: Floats, step: Floats, gained: Floats) -> Floats:
    """Levels after each of many equal steps, each with its own gain; by the modes of the step."""
    decays, modes = np.linalg.eig(step)
    begin, gains = np.linalg.solve(modes, level), np.linalg.solve(modes, gained.T)
    filtered = [
        lfilter([1.0], [1.0, -decay], gain, zi=[decay * at])[0]
        for decay, at, gain in zip(decays, begin, gains, strict=True)
    ]
    after: Floats = (modes @ np.array(filtered)).T
    return after


def _step(matrix: Floats) -> tuple[Floats, Floats]:
    """What one step makes of the levels, and of a constant source [h]; one exponential of both together."""
    count = matrix.shape[0]
    both = np.zeros((2 * count, 2 * count))
    both[:count, :count], both[:count, count:] = matrix, np.eye(count)
    step = expm(both * STEP_S / 3600)
    return step[:count, :count], step[:count, count:]


def _emission(time_min: Floats, run: Run, room: Room) -> Floats:
    """Of the source [µg/h]."""
    full = run.rise * room.volume_m3 / ((run.smoke_end_min - run.smoke_start_min) / 60)
    burning = (time_min >= run.smoke_start_min) & (time_min < run.smoke_end_min)
    after = np.maximum(time_min - run.smoke_end_min, 0.0)
    late = run.smoulder_share * np.exp(-after / run.smoulder_min)
    emitted: Floats = full * np.where(burning, 1.0, np.where(time_min >= run.smoke_end_min, late, 0.0))
    again = (time_min >= run.second_smoke_min) & (time_min < run.second_smoke_min + 1)
    return emitted + np.where(again, 60 * run.second_rise * room.volume_m3, 0.0)


def _matrix(room: Room, volumes: Floats, run: Run, clean_air_m3_per_h: float) -> Floats:
    """Rates of change of all zones by the levels of all zones [1/h]. A unit without clean air does not run."""
    exchange = room.exchange_m3_per_h + (run.stirring_m3_per_h if clean_air_m3_per_h > 0 else 0.0)
    loss = room.air_change_per_h + room.deposition_per_h + clean_air_m3_per_h / room.volume_m3
    matrix = -loss * np.eye(volumes.size)
    for zone in range(volumes.size - 1):
        for here, there in ((zone, zone + 1), (zone + 1, zone)):
            matrix[here, here] -= exchange / volumes[here]
            matrix[here, there] += exchange / volumes[here]
    return matrix


def sensor_readings(rng: np.random.Generator, true_s: Floats, level: Floats, sensor: Sensor) -> tuple[Floats, Floats]:
    """Times and readings of a logger whose noise is made on the fine grid, before it averages and rounds."""
    counted = level * np.exp(-level / sensor.coincidence_level)
    counted = counted * (1 + sensor.warm_up_share * np.exp(-true_s / (60 * sensor.warm_up_min)))
    if sensor.response_s > 0:
        keep = math.exp(-STEP_S / sensor.response_s)
        start = [keep * counted[0]]
        counted, _ = lfilter([1 - keep], [1, -keep], counted, zi=start)
    relative = sensor.relative_noise * noise_with_memory(rng, true_s.size, sensor.memory_s)
    if sensor.flicker > 0:
        relative = relative + sensor.flicker * flicker_noise(rng, true_s.size)
    read = counted * (1 + relative) + sensor.floor_noise * noise_with_memory(rng, true_s.size, sensor.memory_s)
    length = max(round(sensor.averaging_s / STEP_S), 1)
    total = np.concatenate([[0.0], np.cumsum(read)])
    places = np.arange(0, true_s.size, max(round(sensor.interval_s / STEP_S), 1))
    first = np.maximum(places + 1 - length, 0)
    mean = (total[places + 1] - total[first]) / (places + 1 - first)
    return true_s[places], np.maximum(np.round(mean / sensor.resolution) * sensor.resolution, 0.0)


def noise_with_memory(rng: np.random.Generator, size: int, memory_s: float) -> Floats:
    """Unit variance, forgotten by e in memory_s; white on the fine grid for 0."""
    shocks = rng.standard_normal(size)
    if memory_s <= 0:
        return shocks
    keep = math.exp(-STEP_S / memory_s)
    shocks[1:] *= math.sqrt(1 - keep * keep)
    noise: Floats = lfilter([1.0], [1.0, -keep], shocks)
    return noise


def flicker_noise(rng: np.random.Generator, size: int) -> Floats:
    """Unit variance, one part of equal size for each octave of memory from 2 s to about 70 min."""
    memories = 2.0 ** np.arange(1, 13)
    total: Floats = sum((noise_with_memory(rng, size, float(memory)) for memory in memories), np.zeros(size))
    return total / math.sqrt(memories.size)
