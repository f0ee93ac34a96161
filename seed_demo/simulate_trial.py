"""From the plan of a run to the bytes of its log file."""

from dataclasses import replace
from datetime import UTC, timedelta
from math import cos, exp, pi
from zoneinfo import ZoneInfo

import numpy as np

from seed_demo.log_writers import LAYOUTS, LOCAL_ZONE
from seed_demo.logged_run import LoggedRun
from seed_demo.room_physics import BySize, Phase, RoomConditions, RoomHistory, simulate_room
from seed_demo.scenario import SEED, SMOKE_SHARES, InventedRoom, detector
from seed_demo.scenario_types import InventedUnit, Speed
from seed_demo.sensor import SensorCharacter, write_down
from seed_demo.trial_plan import BACKGROUND_MIN, MIXING_MIN, TrialPlan

STEP_S = 1.0
PARTICLE_CHANNELS = ("pm1", "pm2_5", "pm10")
# Run-to-run variation, as shares: the unit (mains voltage, wear), and the room's surfaces and seals.
UNIT_SPREAD, DEPOSITION_SPREAD, AIR_CHANGE_SPREAD = 0.012, 0.04, 0.05


def log_file(plan: TrialPlan) -> tuple[str, bytes]:
    """Name and bytes of the raw log of a run; the same plan gives the same bytes."""
    writer, ending = LAYOUTS[plan.logger.layout]
    return f"{plan.logger.file_stem}_{plan.number:03d}.{ending}", writer(logged_run(plan))


def logged_run(plan: TrialPlan) -> LoggedRun:
    """The run as recorded; the first reading is elapsed zero."""
    rng = np.random.default_rng([SEED, plan.number])
    history = true_history(plan, rng)
    levels = {
        channel: write_down(
            history.voc_ppm if channel == "voc" else history.level("pm2_5" if channel == "pm2_5_b" else channel),
            history.relative_humidity,
            STEP_S,
            plan.interval_s,
            _detector(plan, channel),
            rng,
        )
        for channel in (*PARTICLE_CHANNELS, "pm2_5_b", "voc")
    }
    each = round(plan.interval_s / STEP_S)
    count = len(levels["pm2_5"])
    at_end = np.arange(1, count + 1) * each - 1
    humidity = history.relative_humidity[at_end] + 0.2 * rng.standard_normal(count)
    temperature = history.temperature_c[at_end] + 0.03 * rng.standard_normal(count)
    # Rounded as by the coarsest logger: a whole percent, and a tenth of a degree Fahrenheit.
    levels["relative_humidity"] = np.round(humidity, 0 if plan.logger.sensor.kappa_over_density == 0 else 1)
    fahrenheit = plan.logger.layout.endswith("°F")
    levels["temperature"] = (
        (np.round(1.8 * temperature + 32.0, 1) - 32.0) / 1.8 if fahrenheit else np.round(temperature, 1)
    )
    elapsed = np.arange(count, dtype=np.float64) * plan.interval_s
    # the first reading is one interval after the start, at the end of its averaging period
    started = plan.started.replace(tzinfo=ZoneInfo(LOCAL_ZONE)).astimezone(UTC) + timedelta(seconds=plan.interval_s)
    return LoggedRun(
        started_at=started,
        elapsed_s=elapsed,
        levels=levels,
        rows_lost=_lost(plan, elapsed),
        faults=_faults(plan, count, rng),
        last_row_cut=plan.last_row_cut,
    )


def unit_on_s(plan: TrialPlan) -> float:
    """Unit on, in seconds after the first reading of the log."""
    return 60.0 * plan.unit_on_min - plan.interval_s


def true_history(plan: TrialPlan, rng: np.random.Generator) -> RoomHistory:
    """True levels in the room, with weather and daily variation drawn from `rng`."""
    conditions = conditions_of_the_day(plan, rng)
    share = plan.clean_air_share * (1 + UNIT_SPREAD * float(rng.standard_normal()))
    return simulate_room(conditions, phases_of(plan, conditions, share), STEP_S)


def usual_conditions(room: InventedRoom) -> RoomConditions:
    """The room on an average day, for which a unit's true values are defined."""
    return RoomConditions(volume_m3=room.true_volume_m3, air_change_per_h=room.air_change_per_h)


def conditions_of_the_day(plan: TrialPlan, rng: np.random.Generator) -> RoomConditions:
    """Daily variation: air change slightly higher in winter; deposition, outdoor air, humidity and temperature by the
    day.
    """
    usual = usual_conditions(plan.room)
    season = cos(2 * pi * (plan.started.timetuple().tm_yday - 20) / 365.25)
    draw = rng.standard_normal(5)
    outdoor = exp(0.3 * float(draw[2]))
    deposition = 1 + DEPOSITION_SPREAD * float(draw[1])
    return replace(
        usual,
        air_change_per_h=usual.air_change_per_h * (1 + 0.05 * season + AIR_CHANGE_SPREAD * float(draw[0])),
        deposition_per_h=_scaled(usual.deposition_per_h, deposition),
        outdoor_ug_m3=_scaled(usual.outdoor_ug_m3, outdoor),
        outdoor_vapour_g_m3=8.0 - 2.0 * season + 0.5 * float(draw[3]),
        surroundings_c=21.5 - 1.0 * season + 0.4 * float(draw[4]),
    )


def phases_of(plan: TrialPlan, conditions: RoomConditions, clean_air_share: float = 1.0) -> tuple[Phase, ...]:
    """Background, burning, mixing, and the run with its incidents."""
    burning_h = plan.source.burning_min / 60.0
    loss = conditions.air_change_per_h + conditions.deposition_per_h[0]
    wanted = plan.start_level_ug_m3 * conditions.volume_m3
    emission = wanted * (1 + loss * (burning_h / 2 + MIXING_MIN / 60.0)) / burning_h
    smoke = _scaled(SMOKE_SHARES, emission)
    phases = [
        Phase(BACKGROUND_MIN / 60.0),
        Phase(burning_h, emission_ug_per_h=smoke, voc_emission_ppm_m3_per_h=0.9 * conditions.volume_m3 / burning_h),
        Phase(MIXING_MIN / 60.0, emission_ug_per_h=_scaled(smoke, 0.25) if plan.smoke_goes_on else (0.0, 0.0, 0.0)),
    ]
    running = running_phase(plan.unit, plan.speed, clean_air_share) if plan.unit and plan.speed else Phase(0.0)
    if plan.smoke_goes_on:
        rising = [_scaled(smoke, share) for share in (0.20, 0.26, 0.32, 0.40)]
        part = plan.run_min / len(rising) / 60.0
        return (*phases, *(replace(running, duration_h=part, emission_ug_per_h=level) for level in rising))
    return (*phases, *_with_event(plan, running, smoke))


def running_phase(unit: InventedUnit, speed: Speed, clean_air_share: float = 1.0) -> Phase:
    """Effect of a unit on the room at one speed; the duration is set later."""
    return Phase(
        0.0,
        clean_air_m3_per_h=_scaled(unit.by_size, speed.clean_air_m3_per_h * clean_air_share),
        stirring_m3_per_h=60.0 + 3.0 * speed.clean_air_m3_per_h,
        wet_air_m3_per_h=speed.wet_air_m3_per_h,
        heat_w=speed.power_w,
        voc_clean_air_m3_per_h=unit.voc_m3_per_h * speed.clean_air_m3_per_h / unit.highest.clean_air_m3_per_h
        if unit.voc_m3_per_h
        else 0.0,
    )


def _with_event(plan: TrialPlan, running: Phase, smoke: BySize) -> tuple[Phase, ...]:
    event = plan.door_open or plan.van
    if event is None:
        return (replace(running, duration_h=plan.run_min / 60.0),)
    begin, end = event
    during = (
        replace(running, added_air_change_per_h=8.0)
        if plan.door_open
        else replace(running, emission_ug_per_h=_scaled(smoke, 0.25))
    )
    return (
        replace(running, duration_h=begin / 60.0),
        replace(during, duration_h=(end - begin) / 60.0),
        replace(running, duration_h=(plan.run_min - end) / 60.0),
    )


def _scaled(values: BySize, factor: float) -> BySize:
    return (values[0] * factor, values[1] * factor, values[2] * factor)


def _detector(plan: TrialPlan, channel: str) -> SensorCharacter:
    character = detector(plan.logger, channel)
    return replace(character, gain=character.gain * plan.second_detector_gain) if channel == "pm2_5_b" else character


def _lost(plan: TrialPlan, elapsed_s: np.ndarray) -> frozenset[int]:
    if plan.gap is None:
        return frozenset()
    begin, end = (unit_on_s(plan) + 60.0 * minutes for minutes in plan.gap)
    return frozenset(np.flatnonzero((elapsed_s > begin) & (elapsed_s < end)).tolist())


def _faults(plan: TrialPlan, count: int, rng: np.random.Generator) -> dict[tuple[int, str], str] | None:
    if not plan.faults:
        return None
    rows = sorted(rng.choice(np.arange(5, count - 5), size=4, replace=False).tolist())
    return dict.fromkeys(zip(rows, ("pm1", "pm2_5", "pm2_5", "pm10"), strict=True), "ERR")
