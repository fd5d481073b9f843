"""The figures of one oven that the rules go by, each inside bounds that configuration cannot leave (B-52)."""

import math
from dataclasses import dataclass, replace

from monitor.errors import BadSettingsError
from monitor.model.cycle import Actuator
from monitor.model.inventory import Oven
from monitor.oven import hard


@dataclass(frozen=True, slots=True, kw_only=True)
class OvenParameters:
    """Start values of the rule table; `full_duty_rate_c_s` and the rest of the model are learned per oven."""

    max_c: float  # highest working temperature of the chamber
    overshoot_c: float = 5.0
    sensor_error_c: float = 2.0
    has_fan: bool = True
    actuator: Actuator = Actuator.CONTROLLER
    # Contract 3: a lease, and the longest a cycle may be.
    lease_s: float = 30.0
    longest_s: float = 24 * 3600.0
    attended_max_c: float = 60.0  # B-11
    attended_max_s: float = 8 * 3600.0
    # A chamber of 15 l with 150 W: how fast it warms at full duty from cold, and how it loses heat.
    full_duty_rate_c_s: float = 0.04
    fastest_rate_c_s: float = 0.35  # of the air alone over a minute, before walls and spools follow (R7)
    time_constant_s: float = 2400.0
    thermal_lag_s: float = 300.0
    stale_hold_s: float = 30.0  # R2
    stale_trip_s: float = 60.0
    stuck_span_c: float = 0.02  # R3
    stuck_after_s: float = 600.0
    no_rise_share: float = 0.25  # R4
    no_rise_after_s: float = 300.0
    cold_rise_c: float = 3.0  # R5
    cold_rise_share: float = 0.40
    cold_rise_after_s: float = 600.0
    off_rise_c: float = 1.0  # R6
    off_power_w: float = 5.0
    off_above_c: float = 5.0
    fast_factor: float = 1.5  # R7
    hard_limit_c: float = hard.MAX_CHAMBER_C  # R9
    spread_c: float = 8.0  # R10
    spread_hold_s: float = 120.0
    spread_trip_s: float = 300.0
    warm_up_factor: float = 3.0  # R11
    sag_c: float = 5.0  # R12
    sag_allowance_c_s: float = 3600.0  # 60 °C·min
    overshoot_notice_c: float = 5.0  # R13
    fan_lost_s: float = 10.0  # R14
    energy_notice: float = 1.3  # R16
    energy_stop: float = 1.5
    switchings_per_min: float = 6.0  # R17
    switchings_per_h: float = 120.0
    release_dew_point_c: float = 15.0  # R18: what wet spools may add to the room's dew point
    dew_point_margin_c: float = 5.0
    loop_s: float = 5.0  # R19: `step` is called at least this often

    def __post_init__(self) -> None:
        for name, (lowest, highest) in BOUNDS.items():
            value = getattr(self, name)
            if not (math.isfinite(value) and lowest <= value <= highest):
                raise BadSettingsError(f"oven {name} is {value:g}; allowed are {lowest:g} to {highest:g}")
        if self.hard_limit_c < self.max_c:
            raise BadSettingsError("oven hard_limit_c lies below max_c: it would trip in every cycle")
        if self.stale_trip_s < self.stale_hold_s or self.spread_trip_s < self.spread_hold_s:
            raise BadSettingsError("an oven's rule would trip before it holds")

    @property
    def guard_c(self) -> float:
        """B-14: sensors' error and overshoot, at least 3 °C [°C]."""
        return max(self.sensor_error_c + self.overshoot_c, hard.MIN_GUARD_C)


# Every number above has its row; towards the unsafe side a bound is a hard one.
BOUNDS: dict[str, tuple[float, float]] = {
    "max_c": (30.0, hard.MAX_WORKING_C),
    "overshoot_c": (0.0, 60.0),
    "sensor_error_c": (0.1, 20.0),
    # Three states of half a second, which a controller gives at most, and some slack.
    "lease_s": (2.0, hard.MAX_LEASE_S),
    "longest_s": (60.0, hard.MAX_DURATION_S),
    "attended_max_c": (30.0, hard.MAX_UNARMED_C),
    "attended_max_s": (60.0, hard.MAX_UNARMED_S),
    "full_duty_rate_c_s": (0.002, 1.0),
    "fastest_rate_c_s": (0.01, 1.0),
    "time_constant_s": (120.0, 36_000.0),
    "thermal_lag_s": (30.0, 900.0),
    "stale_hold_s": (5.0, 30.0),
    "stale_trip_s": (10.0, 60.0),
    "stuck_span_c": (0.01, 0.1),
    "stuck_after_s": (120.0, 600.0),
    "no_rise_share": (0.10, 0.9),
    "no_rise_after_s": (60.0, 600.0),
    "cold_rise_c": (1.0, 20.0),
    "cold_rise_share": (0.1, 0.9),
    "cold_rise_after_s": (120.0, 840.0),
    "off_rise_c": (0.5, 3.0),
    "off_power_w": (1.0, 20.0),
    "off_above_c": (1.0, 10.0),
    "fast_factor": (1.1, 3.0),
    "hard_limit_c": (35.0, hard.MAX_CHAMBER_C),
    "spread_c": (1.0, 20.0),
    "spread_hold_s": (10.0, 300.0),
    "spread_trip_s": (20.0, 600.0),
    "warm_up_factor": (1.5, 5.0),
    "sag_c": (2.0, 10.0),
    "sag_allowance_c_s": (300.0, 7200.0),
    "overshoot_notice_c": (1.0, 10.0),
    "fan_lost_s": (4.0, 30.0),
    "energy_notice": (1.05, 2.0),
    "energy_stop": (1.1, 3.0),
    "switchings_per_min": (1.0, 12.0),
    "switchings_per_h": (10.0, 240.0),
    "release_dew_point_c": (0.0, 40.0),
    "dew_point_margin_c": (1.0, 15.0),
    "loop_s": (0.5, 10.0),
}


# A relay is renewed with our own ticks of a second and counts whole seconds.
_RELAY_LEASE_S = 10.0


def parameters_of(oven: Oven, lease_s: float = 30.0) -> OvenParameters:
    """Figures for an oven of the inventory; a chamber that may go higher than the hard limit may not here.

    BadSettingsError where `lease_s` [s] is outside of its bounds.
    """
    max_c = min(oven.max_c, hard.MAX_WORKING_C)
    figures = OvenParameters(
        max_c=max_c,
        overshoot_c=oven.overshoot_c,
        sensor_error_c=oven.sensor_error_c,
        actuator=Actuator.CONTROLLER if oven.relay is None else Actuator.RELAY,
        # A relay tells of no fan, so no rule may count on one.
        has_fan=oven.relay is None
        and oven.fan is not False,  # not told counts as one: heat without moving air is the worse guess
        hard_limit_c=min(max_c + 10.0, hard.MAX_CHAMBER_C),
        lease_s=lease_s if oven.relay is None else max(lease_s, _RELAY_LEASE_S),
    )
    return _with_rates(figures, oven)


# The reference oven of the simulator, 350 W in 40 l: its walls and a few spools take 5.8 kJ/K and lose it to
# the room in half an hour; its air alone rises by 0.34 °C/s at first (measured on it over 60 s, empty).
_HEAT_J_K, _VOLUME_L, _TIME_CONSTANT_S, _FASTEST_C_S_PER_W_L = 5800.0, 40.0, 1800.0, 0.039


def _with_rates(figures: OvenParameters, oven: Oven) -> OvenParameters:
    """How fast this oven should warm before anything was learned of it, where heater and volume are told."""
    if not oven.heater_w or not oven.volume_l:
        return figures
    heat_j_k = _HEAT_J_K * (oven.volume_l / _VOLUME_L) ** (2.0 / 3.0)
    fastest_c_s = _FASTEST_C_S_PER_W_L * oven.heater_w / oven.volume_l
    return replace(
        figures,
        full_duty_rate_c_s=_bounded("full_duty_rate_c_s", oven.heater_w / heat_j_k),
        fastest_rate_c_s=_bounded("fastest_rate_c_s", fastest_c_s),
        time_constant_s=_TIME_CONSTANT_S,
    )


def _bounded(name: str, value: float) -> float:
    lowest, highest = BOUNDS[name]
    return min(max(value, lowest), highest)


def is_only_looser(new: OvenParameters, old: OvenParameters) -> bool:
    """Whether nothing but higher limits and a thinner guard tell them apart."""
    is_looser = new.max_c >= old.max_c and new.hard_limit_c >= old.hard_limit_c
    is_thinner = new.overshoot_c <= old.overshoot_c and new.sensor_error_c <= old.sensor_error_c
    alike = replace(
        new,
        max_c=old.max_c,
        hard_limit_c=old.hard_limit_c,
        overshoot_c=old.overshoot_c,
        sensor_error_c=old.sensor_error_c,
    )
    return is_looser and is_thinner and alike == old
