"""What a commissioning run means: what an oven is fit for, and what the rules may learn from it (H19).

What is learned moves figures inside their bounds only; hard limits stand in `hard.py` alone (B-52).
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

from monitor.model.cycle import LoadItem
from monitor.oven.learning import Findings
from monitor.oven.load_limit import allowed
from monitor.oven.parameters import BOUNDS, OvenParameters

# No control that overshoots by more can be trusted with any plastic.
OVERSHOOT_MOST_C = 25.0
DISAGREE_MOST_C = 8.0  # R10
LEAST_DRYING_C = 35.0  # cooler than this a swing dries nothing
_OVERSHOOT_MARGIN_C = 1.0
_STEP_C = 0.5
_FASTER = 1.1  # a mains voltage 5 % above that of the run
_LAG_LEAST_S, _LAG_MOST_S, _LAG_FACTOR = 60.0, 300.0, 2.0
_SPREAD_LEAST_C, _SPREAD_MOST_C = 3.0, 8.0
_SPOOL_J_K = 1600.0  # 1 kg of filament with its reel


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """The figures of one run that the rules use; None = this run does not tell, the start value stays."""

    run: str
    overshoot_c: float
    swing_c: float = 0.0  # peak to peak
    thermal_lag_s: float | None = None
    full_duty_rate_c_s: float | None = None
    fastest_rate_c_s: float | None = None
    time_constant_s: float | None = None
    spread_c: float | None = None
    steady_w: float | None = None
    steady_above_c: float | None = None  # over the room, at which `steady_w` was measured
    unfit: str = ""  # for everything; empty = it depends on the material
    oven: str = ""  # what it was like: a changed heater, volume or fan makes the run void


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """One material in this oven."""

    name: str
    is_fit: bool
    setpoint_c: float  # the hottest set-point that its limit allows
    why: str


def learned(
    run: str, found: Findings, *, setpoint_c: float, room_c: float, spools_max: int, oven: str
) -> Learned:
    """What the rules may take from a run without problems.

    Args:
        setpoint_c, room_c: Of the run [°C].
        spools_max: How many spools the chamber will hold; 0 for a run that was loaded.
        oven: A mark of the oven as it was.
    """
    swing_c = found.swing_c.value or 0.0
    overshoot_c = max(found.overshoot_c.value or 0.0, swing_c / 2.0) + _OVERSHOOT_MARGIN_C
    lag_s, spread_c = found.lag_s.value, found.disagree_c.value
    rate_c_s, constant_s = _loaded(found, spools_max)
    return Learned(
        run=run,
        overshoot_c=min(_STEP_C * math.ceil(overshoot_c / _STEP_C - 1e-9), BOUNDS["overshoot_c"][1]),
        swing_c=swing_c,
        thermal_lag_s=None if lag_s is None else min(max(_LAG_FACTOR * lag_s, _LAG_LEAST_S), _LAG_MOST_S),
        full_duty_rate_c_s=rate_c_s,
        fastest_rate_c_s=None if found.fastest_c_s.value is None else _FASTER * found.fastest_c_s.value,
        time_constant_s=constant_s,
        spread_c=None
        if spread_c is None
        else min(max(2.0 * spread_c + 1.0, _SPREAD_LEAST_C), _SPREAD_MOST_C),
        steady_w=found.power_w.value,
        steady_above_c=setpoint_c - room_c if found.power_w.value is not None else None,
        unfit=unfit_for_all(found),
        oven=oven,
    )


def _loaded(found: Findings, spools_max: int) -> tuple[float | None, float | None]:
    """Rate and time constant with the spools inside that an empty run had not: slower, or R5 would trip."""
    rate_c_s, constant_s = found.rate_c_s.value, found.time_constant_s.value
    if rate_c_s is None or constant_s is None:
        return None, None
    power_w = found.full_power_w.value
    if spools_max <= 0:
        return rate_c_s, constant_s
    if power_w is None:
        return None, None  # how much heat it holds is not known
    heat_j_k = power_w / rate_c_s
    share = heat_j_k / (heat_j_k + _SPOOL_J_K * spools_max)
    return rate_c_s * share, constant_s / share


def unfit_for_all(found: Findings) -> str:
    """Why nothing may be dried in it; empty where it depends on the material."""
    if not found.is_reached:
        return "It did not reach its set-point."
    if (found.overshoot_c.value or 0.0) > OVERSHOOT_MOST_C:
        over_c = found.overshoot_c.value
        return f"It went {over_c:.0f} °C over its set-point; {OVERSHOOT_MOST_C:g} °C is the most."
    if (found.disagree_c.value or 0.0) > DISAGREE_MOST_C:
        return f"Its sensors lie {found.disagree_c.value:.0f} °C apart; {DISAGREE_MOST_C:g} °C is the most."
    return ""


def fit(name: str, limit_c: float, parameters: OvenParameters, swing_c: float) -> Fit:
    """Whether what stands `limit_c` can be dried: from the hot to the cool end of its swing."""
    item = LoadItem(key=name, name=name, material_limit_c=limit_c, body_limit_c=None, is_body_needed=False)
    setpoint_c = allowed((item,), parameters).setpoint_c
    coolest_c = setpoint_c - swing_c / 2.0
    if coolest_c >= LEAST_DRYING_C:
        return Fit(name=name, is_fit=True, setpoint_c=setpoint_c, why=f"up to {setpoint_c:g} °C")
    why = f"its limit is {limit_c:g} °C; less {parameters.guard_c:g} °C of guard {setpoint_c:g} °C is left"
    if swing_c >= 1.0:
        why += f", and the swing takes it down to {coolest_c:.0f} °C"
    return Fit(name=name, is_fit=False, setpoint_c=setpoint_c, why=f"{why}: that does not dry")


def why_unfit(load: Iterable[LoadItem], parameters: OvenParameters, known: Learned | None) -> str:
    """Why what lies inside may not be dried in this oven (H19); empty = it may, as far as this goes."""
    if known is None:
        return ""
    if known.unfit:
        return known.unfit
    bound = allowed(load, parameters)
    found = fit(bound.limited_by, bound.limit_c, parameters, known.swing_c)
    return "" if found.is_fit else f"For {found.name} it is unfit: {found.why}."


def with_learned(parameters: OvenParameters, known: Learned | None) -> OvenParameters:
    """The figures with what was learned, each inside its bounds; no limit is among them."""
    if known is None:
        return parameters
    told = {
        "overshoot_c": known.overshoot_c,
        "thermal_lag_s": known.thermal_lag_s,
        "full_duty_rate_c_s": known.full_duty_rate_c_s,
        "fastest_rate_c_s": known.fastest_rate_c_s,
        "time_constant_s": known.time_constant_s,
        "spread_c": known.spread_c,
    }
    changes = {
        name: min(max(value, BOUNDS[name][0]), BOUNDS[name][1])
        for name, value in told.items()
        if value is not None
    }
    return replace(parameters, **changes)  # type: ignore[arg-type]


def energy_wh(known: Learned | None, *, above_c: float, duration_s: float, spools: int) -> float | None:
    """What a drying should take at most as a rule, for R16 [Wh]; None where no power was learned.

    Args:
        above_c: Set-point over the room [°C].
        duration_s: Of the heat [s].
        spools: Inside; their warming, and water that leaves them, are allowed for.
    """
    if known is None or known.steady_w is None or not known.steady_above_c or known.steady_above_c < 5.0:
        return None
    steady_wh = known.steady_w * above_c / known.steady_above_c * duration_s / 3600.0
    warming_wh = (4000.0 + _SPOOL_J_K * spools) * above_c / 3600.0
    water_wh = 15.0 * spools  # 20 g of each at 2.4 MJ/kg
    return steady_wh + warming_wh + water_wh
