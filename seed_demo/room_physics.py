"""Physics of a room with smoke: levels at the logger from source, losses and mixing.

Within a phase (nothing is switched or opened) all coefficients are constant, so that each quantity has a closed
solution; the phases are joined at their ends. There is no numerical integration, and so no solver error.

Particles are in three size classes, whose sums an optical logger reports: PM1 is the fine class, PM2.5 adds
the middle one, PM10 the coarse one. The coefficients are chosen here, of the order found in rooms; none is measured.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

# Number of size classes that a channel adds up: below 1 µm, 1 to 2.5 µm, 2.5 to 10 µm.
CHANNEL_CLASSES = {"pm1": 1, "pm2_5": 2, "pm10": 3}

BySize = tuple[float, float, float]
Curve = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class RoomConditions:
    """The room on one day.

    volume_m3 : air that takes part [m³]
    air_change_per_h : exchange with outdoors [1/h]
    deposition_per_h : loss to surfaces, by size class [1/h]
    penetration : share of outdoor particles that comes in with the air, by size class
    outdoor_ug_m3 : outdoor level by size class [µg/m³]
    near_zone_share : share of the volume round the source, 0 to 1
    exchange_m3_per_h : air exchanged between that zone and the rest, unit off [m³/h]
    outdoor_vapour_g_m3 : water vapour outdoors [g/m³]
    surroundings_c : temperature that the room tends to [°C], with thermal_time_h [h]
    heat_loss_w_per_k : loss to the surroundings [W/K]
    outdoor_voc_ppm : volatile organic compounds outdoors, as the logger counts them [ppm]
    """

    volume_m3: float
    air_change_per_h: float
    deposition_per_h: BySize = (0.08, 0.30, 1.2)
    penetration: BySize = (0.8, 0.7, 0.4)
    outdoor_ug_m3: BySize = (5.0, 1.0, 3.0)
    near_zone_share: float = 0.2
    exchange_m3_per_h: float = 130.0
    outdoor_vapour_g_m3: float = 7.5
    surroundings_c: float = 20.5
    thermal_time_h: float = 4.0
    heat_loss_w_per_k: float = 90.0
    outdoor_voc_ppm: float = 0.08


@dataclass(frozen=True, slots=True)
class Phase:
    """A part of a run in which nothing is switched.

    emission_ug_per_h : smoke by size class [µg/h];  clean_air_m3_per_h : what the unit delivers, by size class [m³/h]
    stirring_m3_per_h : exchange between the zones that the unit's fan adds [m³/h]
    added_air_change_per_h : an open door or window [1/h]
    wet_air_m3_per_h : air that the unit sends out saturated with water [m³/h];  heat_w : heat given off [W]
    voc_emission_ppm_m3_per_h, voc_clean_air_m3_per_h : the same two for volatile organic compounds
    """

    duration_h: float
    emission_ug_per_h: BySize = (0.0, 0.0, 0.0)
    clean_air_m3_per_h: BySize = (0.0, 0.0, 0.0)
    stirring_m3_per_h: float = 0.0
    added_air_change_per_h: float = 0.0
    wet_air_m3_per_h: float = 0.0
    heat_w: float = 0.0
    voc_emission_ppm_m3_per_h: float = 0.0
    voc_clean_air_m3_per_h: float = 0.0


@dataclass(frozen=True, slots=True)
class RoomHistory:
    """True values at the place of the logger; time from the start of the first phase.

    size_classes_ug_m3 has the shape (3, n); followed by the room's mean level of each class.
    """

    time_h: Curve
    size_classes_ug_m3: Curve
    mean_ug_m3: Curve
    relative_humidity: Curve
    temperature_c: Curve
    voc_ppm: Curve

    def level(self, channel: str) -> Curve:
        """True level of `pm1`, `pm2_5` or `pm10` at the logger [µg/m³]."""
        total: Curve = self.size_classes_ug_m3[: CHANNEL_CLASSES[channel]].sum(axis=0)
        return total


def total_decay(conditions: RoomConditions, size_class: int, clean_air_m3_per_h: float = 0.0) -> float:
    r"""Rate at which one size class falls, the sum of its losses [1/h].

    .. math:: k = \lambda + \beta + Q / V

    λ air change [1/h], β deposition [1/h], Q clean air rate [m³/h], V volume [m³].

    >>> round(total_decay(RoomConditions(volume_m3=40.0, air_change_per_h=0.2), 0, clean_air_m3_per_h=100.0), 3)
    2.78
    """
    return (
        conditions.air_change_per_h
        + conditions.deposition_per_h[size_class]
        + clean_air_m3_per_h / conditions.volume_m3
    )


def approach(start: float, target: float, rate_per_h: float, elapsed_h: Curve) -> Curve:
    r"""Solution of dC/dt = k (C∞ − C) with C(0) = start.

    .. math:: C(t) = C_\infty + (C_0 - C_\infty)\, e^{-k t}

    >>> approach(100.0, 0.0, 1.0, np.array([0.0, 1.0])).round(3).tolist()
    [100.0, 36.788]
    """
    return target + (start - target) * np.exp(-rate_per_h * elapsed_h)


def simulate_room(conditions: RoomConditions, phases: tuple[Phase, ...], step_s: float = 1.0) -> RoomHistory:
    r"""True levels at the logger through the phases, every `step_s` seconds.

    Two zones, the one round the source (share φ of V) and the rest, where the logger stands. They exchange the air
    flow F; losses act alike in both, because the fan of the unit stirs the whole room. For one size class with
    emission S, outdoor level Co and penetration p, the mean C̄ and the difference D between the zones obey

    .. math::
        \dot{\bar C} = S/V + \lambda\,p\,C_o - k\,\bar C, \qquad
        \dot D = \frac{S}{\varphi V} - \Bigl(k + \frac{F}{\varphi(1-\varphi)V}\Bigr) D

    and the logger sees C̄ − φ D: smoke reaches it late, and once mixed its level falls at the rate k exactly.
    Water vapour w tends to the outdoors by the air change and to saturation by the wet air Qw of a washing unit,
    :math:`\dot w = \lambda (w_o - w) + (Q_w/V)(w_s - w)`. Volatile compounds have no deposition. The temperature tends
    to the surroundings plus heat over heat loss. The run begins in the steady state, unit off.
    """
    state = _steady_state(conditions)
    step_h = step_s / 3600.0
    times: list[Curve] = []
    pieces: list[tuple[Curve, Curve, Curve, Curve, Curve]] = []
    began = 0.0
    for phase in phases:
        # The sampling grid runs through the whole experiment; each phase takes the grid points that fall in it.
        first = int(np.ceil(began / step_h - 1e-9))
        last = int(np.ceil((began + phase.duration_h) / step_h - 1e-9))
        grid = np.arange(first, last, dtype=np.float64) * step_h
        elapsed = np.append(grid - began, phase.duration_h)
        mean, difference, vapour, temperature, voc = _solve(conditions, phase, state, elapsed)
        times.append(grid)
        pieces.append((mean[:, :-1], difference[:, :-1], vapour[:-1], temperature[:-1], voc[:-1]))
        state = _State(mean[:, -1], difference[:, -1], float(vapour[-1]), float(temperature[-1]), float(voc[-1]))
        began += phase.duration_h
    mean, difference = (np.concatenate([piece[i] for piece in pieces], axis=1) for i in (0, 1))
    vapour, temperature, voc = (np.concatenate([piece[i] for piece in pieces]) for i in (2, 3, 4))
    return RoomHistory(
        time_h=np.concatenate(times),
        size_classes_ug_m3=np.maximum(mean - conditions.near_zone_share * difference, 0.0),
        mean_ug_m3=mean,
        relative_humidity=100.0 * vapour / saturated_vapour(temperature),
        temperature_c=temperature,
        voc_ppm=voc,
    )


def saturated_vapour(temperature_c: Curve) -> Curve:
    r"""Water vapour in saturated air [g/m³], from the Magnus form of the vapour pressure.

    .. math:: e_s = 6.112\,e^{17.62 T/(243.12+T)}\ \mathrm{hPa}, \qquad w_s = 216.7\,e_s/(273.15+T)

    The constants are from memory; the demonstration only needs a plausible humidity.

    >>> saturated_vapour(np.array([20.0])).round(1).tolist()
    [17.2]
    """
    pressure_hpa = 6.112 * np.exp(17.62 * temperature_c / (243.12 + temperature_c))
    return 216.7 * pressure_hpa / (273.15 + temperature_c)


@dataclass(frozen=True, slots=True)
class _State:
    mean_ug_m3: Curve
    difference_ug_m3: Curve
    vapour_g_m3: float
    temperature_c: float
    voc_ppm: float


def _steady_state(conditions: RoomConditions) -> _State:
    infiltration = conditions.air_change_per_h * np.multiply(conditions.penetration, conditions.outdoor_ug_m3)
    losses = np.array([total_decay(conditions, size_class) for size_class in range(3)])
    return _State(
        infiltration / losses,
        np.zeros(3),
        conditions.outdoor_vapour_g_m3,
        conditions.surroundings_c,
        conditions.outdoor_voc_ppm,
    )


def _solve(
    conditions: RoomConditions, phase: Phase, state: _State, elapsed_h: Curve
) -> tuple[Curve, Curve, Curve, Curve, Curve]:
    volume, share = conditions.volume_m3, conditions.near_zone_share
    air_change = conditions.air_change_per_h + phase.added_air_change_per_h
    exchange = conditions.exchange_m3_per_h + phase.stirring_m3_per_h
    mixing = exchange / (share * (1 - share) * volume)
    mean = np.empty((3, len(elapsed_h)))
    difference = np.empty((3, len(elapsed_h)))
    for size in range(3):
        loss = air_change + conditions.deposition_per_h[size] + phase.clean_air_m3_per_h[size] / volume
        emission = phase.emission_ug_per_h[size]
        gain = emission / volume + air_change * conditions.penetration[size] * conditions.outdoor_ug_m3[size]
        mean[size] = approach(float(state.mean_ug_m3[size]), gain / loss, loss, elapsed_h)
        apart = loss + mixing
        difference[size] = approach(
            float(state.difference_ug_m3[size]), emission / (share * volume * apart), apart, elapsed_h
        )
    wetting = phase.wet_air_m3_per_h / volume
    saturated = float(saturated_vapour(np.array([state.temperature_c]))[0])
    vapour_target = (air_change * conditions.outdoor_vapour_g_m3 + wetting * saturated) / (air_change + wetting)
    vapour = approach(state.vapour_g_m3, vapour_target, air_change + wetting, elapsed_h)
    warm = conditions.surroundings_c + phase.heat_w / conditions.heat_loss_w_per_k
    temperature = approach(state.temperature_c, warm, 1 / conditions.thermal_time_h, elapsed_h)
    voc_loss = air_change + phase.voc_clean_air_m3_per_h / volume
    voc_gain = phase.voc_emission_ppm_m3_per_h / volume + air_change * conditions.outdoor_voc_ppm
    voc = approach(state.voc_ppm, voc_gain / voc_loss, voc_loss, elapsed_h)
    return mean, difference, vapour, temperature, voc
