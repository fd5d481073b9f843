"""Dry boxes as they truly are: beds in layers, wound spools in rings and shells, minute by minute.

It shares no equation with the estimator: vapour moves between nodes through pores, every node has its own
sorption modes, the box's air is a state, the lid swaps it, and isotherms are tables of their own, off the
catalogue's. All boxes advance together; a seed gives the same boxes always.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

NODES = 8
MODES = 3
MINUTE_S = 60.0
DAY_S = 86_400.0
_GAS = 8.314462
_VAPOUR_J_KG_K = 461.52
_KNOTS = 500
_KNOT_HUMIDITY = (np.arange(_KNOTS + 1) / _KNOTS) ** 2
_CROWDING = 1.8
_J0_ZEROS = np.array([2.404826, 5.520078, 8.653728])
# q1, E1 [kJ/mol], q2, E2 of A = R T ln(1/h): the pool of three narrow-pored gels.
_GEL = (0.1257, 5.5546, 0.1737, 4.0979)
_BEAD_M2_S, _BEAD_K = 2.54e-4, 42_000.0 / _GAS
_COOLING_S = 2.0 * 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Polymer:
    """Water content over humidity h: a h / (1 + b h + c h^2)."""

    density_kg_m3: float
    a: float
    b: float
    c: float
    diffusivity_m2_s: float
    activation_j_mol: float
    limit_humidity: float


# Moulders' isotherms and diffusivities; limits as a person storing them would set them.
POLYMERS = {
    "pla": Polymer(density_kg_m3=1240.0, a=0.0072, b=-0.2, c=0.0, diffusivity_m2_s=5.0e-12,
                   activation_j_mol=38e3, limit_humidity=0.135),
    "petg": Polymer(density_kg_m3=1270.0, a=0.003667, b=-0.3333, c=0.0, diffusivity_m2_s=1.2e-12,
                    activation_j_mol=43e3, limit_humidity=0.105),
    "abs": Polymer(density_kg_m3=1050.0, a=0.003889, b=-0.4444, c=0.0, diffusivity_m2_s=3.0e-12,
                   activation_j_mol=43.5e3, limit_humidity=0.23),
    "asa": Polymer(density_kg_m3=1070.0, a=0.004565, b=-0.6957, c=0.0, diffusivity_m2_s=2.5e-12,
                   activation_j_mol=44e3, limit_humidity=0.19),
    "pa6": Polymer(density_kg_m3=1130.0, a=0.0377 * 1.84 * 0.683, b=(1.84 - 2.0) * 0.683,
                   c=(1.0 - 1.84) * 0.683**2, diffusivity_m2_s=2.1e-13, activation_j_mol=55e3,
                   limit_humidity=0.106),
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueSpool:
    material: str
    net_kg: float
    start_humidity: float  # to which its water had settled when it was put in
    stated: str  # what its owner entered: "dried" | "open" | "unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class TrueBox:
    """One box; `None` where nothing goes wrong."""

    volume_m3: float
    air_changes_h: float
    stated_dry_kg: float
    dry_kg: float
    batch: float  # true isotherm over the catalogue's
    tilt: float
    bed_depth_m: float
    bead_m: float
    start_humidity: float
    spools: tuple[TrueSpool, ...]
    openings_week: float
    sensor_offset: float
    room_c: float
    room_dew_c: float
    gap_share: float = 0.02
    fault: str | None = None
    fault_s: float = 0.0
    limit_humidity: float = 0.0

    def __post_init__(self) -> None:
        if self.limit_humidity == 0.0:
            limit = min(POLYMERS[spool.material].limit_humidity for spool in self.spools)
            object.__setattr__(self, "limit_humidity", limit)


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """What happened; rows are moments, columns boxes. Humidities are fractions."""

    time_s: Array
    humidity: Array
    temperature_c: Array
    room_humidity: Array
    room_c: Array
    settled_humidity: Array  # of the whole bed, at 25 °C
    water_error_kg: float  # largest failure of a box's water balance
    openings_s: list[list[float]] = field(default_factory=list)


class Truth:
    """All boxes together, in one column each; bodies are the beds, then the first and second spools."""

    def __init__(self, boxes: list[TrueBox], seed: int) -> None:
        self._boxes = boxes
        self._dice = np.random.default_rng([seed, 1])
        count = len(boxes)
        self._count = count
        self._volume = np.array([box.volume_m3 for box in boxes])
        self._leak = np.array([box.air_changes_h * box.volume_m3 / 3600.0 for box in boxes])
        shape = (NODES, 3 * count)
        self._void, self._dry = np.zeros(shape), np.zeros(shape)
        self._link = np.zeros((NODES - 1, 3 * count))
        self._touch = np.zeros(3 * count)
        self._film = np.zeros(3 * count)
        self._weights = np.zeros((MODES, 3 * count))
        self._weights[0] = 1.0
        self._rates = np.zeros((MODES, 3 * count))
        self._activation_k = np.full(3 * count, _BEAD_K)
        self._table = np.zeros((3 * count, _KNOTS + 1))
        self._start = np.full(3 * count, 0.1)
        for column, box in enumerate(boxes):
            self._lay_bed(column, box)
            for place, spool in enumerate(box.spools):
                self._wind(column + (place + 1) * count, spool)
        slope = np.diff(self._table, axis=1) / np.diff(_KNOT_HUMIDITY)
        self._flat, self._flat_slope = self._table.ravel(), slope.ravel()
        self._at = np.arange(3 * count) * (_KNOTS + 1)
        self._at_slope = np.arange(3 * count) * _KNOTS
        self._room_c = np.array([box.room_c for box in boxes])
        self._weather_c, self._weather_dew = np.zeros(count), np.zeros(count)
        self._phase = self._dice.uniform(-0.5, 0.5, count)
        self._box_c = self._room_c.copy()
        self._open_until = np.zeros(count)
        self._openings: list[list[float]] = [[] for _ in boxes]
        self.humidity = np.repeat(self._start[None, :], NODES, axis=0)
        self._air = np.array([box.start_humidity for box in boxes]) * _saturated(self._box_c)
        self._refresh(0.0, 300.0)
        content, _ = self._equilibrium()
        self._water: Array = np.repeat(content[None], MODES, axis=0)
        self._pores = self._saturated_3 * self.humidity

    def run(
        self, days: float, step_s: float = MINUTE_S, every_s: float = 300.0, from_s: float = 0.0
    ) -> Course:
        """All boxes over some days; the state stays, so that a next run goes on from there."""
        rows: dict[str, list[Array]] = {name: [] for name in ("h", "c", "rh", "rc", "s")}
        times = []
        before_kg, came_kg = self._box_water_kg(), np.zeros(self._count)
        count = round(days * DAY_S / step_s)
        for index in range(count):
            now_s = from_s + index * step_s
            if round(now_s) % 300 == 0:
                self._refresh(now_s, 300.0)
                came_kg += self._faults(now_s)
            came_kg += self._step(step_s, self._lids(now_s, step_s))
            end_s = now_s + step_s
            if round(end_s) % round(every_s) == 0:
                times.append(end_s)
                rows["h"].append(self._air / self._saturated)
                rows["c"].append(self._box_c.copy())
                rows["rh"].append(self._room_vapour / _saturated(self._room_now_c))
                rows["rc"].append(self._room_now_c.copy())
                rows["s"].append(self.settled())
        error_kg = float(np.abs(self._box_water_kg() - before_kg - came_kg).max())
        return Course(
            time_s=np.array(times),
            humidity=np.array(rows["h"]),
            temperature_c=np.array(rows["c"]),
            room_humidity=np.array(rows["rh"]),
            room_c=np.array(rows["rc"]),
            settled_humidity=np.array(rows["s"]),
            water_error_kg=error_kg,
            openings_s=self._openings,
        )

    def settled(self) -> Array:
        """Humidity at 25 °C to which each whole bed would settle."""
        beds = slice(0, self._count)
        dry = self._dry[:, beds]
        mean = (dry * self._water[0][:, beds]).sum(axis=0) / dry.sum(axis=0)
        return np.array([np.interp(mean[i], self._table[i], _KNOT_HUMIDITY) for i in range(self._count)])

    def _lay_bed(self, column: int, box: TrueBox) -> None:
        edges = box.bed_depth_m * (1.0 - np.linspace(1.0, 0.0, NODES + 1) ** _CROWDING)
        middles = (edges[1:] + edges[:-1]) / 2.0
        area = box.dry_kg / (720.0 * box.bed_depth_m)
        pores = 0.4**1.5
        self._void[:, column] = 0.4 * area * np.diff(edges)
        self._dry[:, column] = box.dry_kg * np.diff(edges) / box.bed_depth_m
        self._link[:, column] = area * pores / np.diff(middles)
        self._touch[column] = area * pores / (box.bed_depth_m - middles[-1])
        self._film[column] = area * 2.2e-3
        rate = 15.0 * _BEAD_M2_S * np.exp(-_BEAD_K / 296.15) / (box.bead_m / 2.0) ** 2
        self._rates[:, column] = rate
        potential = -_GAS * 298.15 / 1000.0 * np.log(np.maximum(_KNOT_HUMIDITY, 1e-9))
        q1, e1, q2, e2 = _GEL
        load = q1 * np.exp(-potential / e1) + q2 * np.exp(-((potential / e2) ** 2))
        self._table[column] = box.batch * load * (1.0 + box.tilt * (np.minimum(_KNOT_HUMIDITY, 0.5) - 0.1))
        self._start[column] = box.start_humidity

    def _wind(self, body: int, spool: TrueSpool) -> None:
        polymer = POLYMERS[spool.material]
        solid = 0.65 + self._dice.uniform(-0.03, 0.03)
        hub, width = 0.045, 0.060
        outer = np.sqrt(hub**2 + spool.net_kg / polymer.density_kg_m3 / solid / (np.pi * width))
        edges = outer - (outer - hub) * np.linspace(1.0, 0.0, NODES + 1) ** _CROWDING
        middles = (edges[1:] + edges[:-1]) / 2.0
        volumes = np.pi * np.diff(edges**2) * width
        through = 2.0 * np.pi * width * 0.21 * self._dice.uniform(0.85, 1.15)
        self._void[:, body] = (1.0 - solid) * volumes
        self._dry[:, body] = solid * polymer.density_kg_m3 * volumes
        self._link[:, body] = through / np.log(middles[1:] / middles[:-1])
        self._touch[body] = through / np.log(outer / middles[-1])
        self._film[body] = 2.0 * np.pi * outer * width * 3e-3
        weights = 4.0 / _J0_ZEROS**2
        weights[-1] += 1.0 - weights.sum()
        self._weights[:, body] = weights
        diffusivity = polymer.diffusivity_m2_s * np.exp(0.3 * self._dice.standard_normal())
        self._rates[:, body] = diffusivity * _J0_ZEROS**2 / 0.000875**2
        self._activation_k[body] = polymer.activation_j_mol / _GAS
        h = _KNOT_HUMIDITY
        factor = 1.0 + 0.08 * self._dice.standard_normal()
        self._table[body] = factor * polymer.a * h / (1.0 + h * (polymer.b + polymer.c * h))
        self._start[body] = spool.start_humidity

    def _refresh(self, now_s: float, over_s: float) -> None:
        """Weather, temperatures and everything that follows from them, every five minutes."""
        dew = self._weather(now_s, over_s)
        self._room_vapour = _pressure(dew) / (_VAPOUR_J_KG_K * (self._room_now_c + 273.15))
        self._box_c = self._box_c + (1.0 - np.exp(-over_s / _COOLING_S)) * (self._room_now_c - self._box_c)
        kelvin = np.tile(self._box_c + 273.15, 3)
        self._saturated = _saturated(self._box_c)
        self._saturated_3 = np.tile(self._saturated, 3)
        self._body_k = kelvin
        free = 2.5e-5 * (kelvin / 298.15) ** 1.75
        inner = self._touch * free
        # A body that is not there has neither film nor pores.
        self._door = np.where(inner > 0.0, inner * self._film / (inner + self._film + 1e-30), 0.0)
        self._conduct = self._link * free * self._saturated_3
        self._rate_now = self._rates * np.exp(self._activation_k * (1.0 / 296.15 - 1.0 / kelvin))
        self._power = self._body_k[: self._count] / 298.15

    def _weather(self, now_s: float, over_s: float) -> Array:
        """Sets the rooms' temperature; returns their dew points [degC]."""
        dice, days = self._dice, now_s / DAY_S
        calm_c, calm_dew = np.exp(-over_s / (3.0 * DAY_S)), np.exp(-over_s / (2.5 * DAY_S))
        self._weather_c = calm_c * self._weather_c + 1.2 * np.sqrt(1 - calm_c**2) * dice.standard_normal(
            self._count
        )
        self._weather_dew = calm_dew * self._weather_dew + 2.5 * np.sqrt(
            1 - calm_dew**2
        ) * dice.standard_normal(self._count)
        daily = np.sin(2.0 * np.pi * (days + self._phase))
        self._room_now_c = self._room_c + self._weather_c + 1.8 * daily
        dew = np.array([box.room_dew_c for box in self._boxes]) + self._weather_dew + 0.5 * daily
        dew = np.minimum(dew, self._room_now_c - 2.0)
        return np.asarray(dew)

    def _lids(self, now_s: float, step_s: float) -> Array:
        """Exchange with the room over this step; a lid that opens swaps the air in half a minute."""
        chance = np.array([box.openings_week for box in self._boxes]) * step_s / (7.0 * DAY_S)
        opens = self._dice.random(self._count) < chance
        for column in np.flatnonzero(opens):
            self._openings[column].append(now_s)
            self._open_until[column] = now_s + MINUTE_S * float(self._dice.integers(1, 5))
        for column, box in enumerate(self._boxes):
            if box.fault == "lid" and now_s >= box.fault_s:
                self._open_until[column] = now_s + step_s
        is_open = self._open_until > now_s
        leak = self._leak * self._leak_factor(now_s)
        return np.where(is_open, leak + self._volume / 40.0, leak)

    def _leak_factor(self, now_s: float) -> Array:
        return np.array(
            [10.0 if box.fault == "leak" and now_s >= box.fault_s else 1.0 for box in self._boxes]
        )

    def _faults(self, now_s: float) -> Array:
        """What somebody does at one moment; returns the water carried in [kg]."""
        carried = np.zeros(self._count)
        for column, box in enumerate(self._boxes):
            if box.fault is None or not box.fault_s <= now_s < box.fault_s + 300.0:
                continue
            before = self._box_water_kg()[column]
            if box.fault in ("charge", "wet"):
                self._openings[column].append(now_s)
                self._open_until[column] = now_s + 240.0
            if box.fault == "charge":
                self._void[:, column] *= 0.5
                self._dry[:, column] *= 0.5
                for name in ("_link", "_touch", "_film"):
                    getattr(self, name)[..., column] *= 0.5
                self._refresh(now_s, 0.0)
            if box.fault == "wet":
                body = column + self._count
                self.humidity[:, body] = 5.0 * box.limit_humidity if box.limit_humidity < 0.18 else 0.9
                content, _ = self._equilibrium()
                self._water[:, :, body] = content[:, body]
                self._pores[:, body] = self._saturated_3[body] * self.humidity[:, body]
            carried[column] = self._box_water_kg()[column] - before
        return carried

    def _step(self, dt_s: float, leak: Array) -> Array:
        share = 1.0 - np.exp(-dt_s * self._rate_now)
        weighted = self._weights * share
        answering = weighted.sum(axis=0)
        held = (weighted[:, None, :] * self._water).sum(axis=0)
        content, slope = self._equilibrium()
        saturated, door, link = self._saturated_3, self._door, self._conduct
        diagonal = (self._void * saturated + self._dry * answering * slope) / dt_s + 1e-30
        diagonal[-1] += door * saturated
        diagonal[:-1] += link
        diagonal[1:] += link
        known = self._dry * (held - answering * (content - slope * self.humidity))
        lone = (self._void * self._pores + known) / dt_s
        # Only the surface node meets the air: eliminate from the inside out.
        for row in range(1, NODES):
            factor = link[row - 1] / diagonal[row - 1]
            diagonal[row] -= factor * link[row - 1]
            lone[row] += factor * lone[row - 1]
        takes = door * (1.0 - saturated * door / diagonal[-1])
        gives = door * saturated * lone[-1] / diagonal[-1]
        own = self._volume / dt_s
        taken = takes.reshape(3, -1).sum(axis=0)
        given = gives.reshape(3, -1).sum(axis=0)
        self._air = (own * self._air + leak * self._room_vapour + given) / (own + leak + taken)
        fresh = np.empty_like(lone)
        fresh[-1] = (lone[-1] + door * np.tile(self._air, 3)) / diagonal[-1]
        for row in range(NODES - 2, -1, -1):
            fresh[row] = (lone[row] + link[row] * fresh[row + 1]) / diagonal[row]
        target = content + slope * (fresh - self.humidity)
        self._water += share[:, None, :] * (target - self._water)
        self.humidity = fresh
        self._pores = saturated * fresh
        return np.asarray(dt_s * leak * (self._room_vapour - self._air))

    def _equilibrium(self) -> tuple[Array, Array]:
        humidity = np.clip(self.humidity, 1e-6, 0.999)
        counted, steep = humidity.copy(), np.ones_like(humidity)
        beds = slice(0, self._count)
        counted[:, beds] = humidity[:, beds] ** self._power
        steep[:, beds] = self._power * counted[:, beds] / humidity[:, beds]
        knot = np.minimum((np.sqrt(counted) * _KNOTS).astype(np.intp), _KNOTS - 1)
        slope = self._flat_slope[self._at_slope + knot]
        content = self._flat[self._at + knot] + slope * (counted - _KNOT_HUMIDITY[knot])
        return content + slope * steep * (self.humidity - humidity), slope * steep

    def _box_water_kg(self) -> Array:
        content = (self._weights[:, None, :] * self._water).sum(axis=0)
        bodies = (self._dry * content + self._void * self._pores).sum(axis=0).reshape(3, -1).sum(axis=0)
        return np.asarray(bodies + self._volume * self._air)


def _pressure(temperature_c: Array) -> Array:
    """Saturation over water [Pa], Huang 2018: another formula than the monitor's."""
    t = np.asarray(temperature_c)
    return np.asarray(np.exp(34.494 - 4924.99 / (t + 237.1)) / (t + 105.0) ** 1.57)


def _saturated(temperature_c: Array) -> Array:
    return _pressure(temperature_c) / (_VAPOUR_J_KG_K * (np.asarray(temperature_c) + 273.15))
