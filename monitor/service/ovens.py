"""What an oven's newest state tells."""

from collections.abc import Iterable
from dataclasses import asdict, dataclass

from monitor.errors import BadMessageError
from monitor.estimate.ensemble import three_digits
from monitor.model.answers import Freshness, OvenAnswer, SpoolAnswer, Spread, unknown
from monitor.model.batch import DeviceRow
from monitor.model.inventory import Oven
from monitor.model.oven import OvenState
from monitor.oven.state import Supervised
from monitor.oven.verdict import RUNNING
from monitor.service.air import freshness_of, rfc3339
from monitor.wire.messages import parse_oven_state

HOT_C = 55.0  # B-45: above it a chamber or door burns
STATE_DUE_S = 10.0  # the controller speaks at least this often


NOT_MINDED = "no drying cycle is under way"


@dataclass(frozen=True, slots=True, kw_only=True)
class Minded:
    """What the supervision adds to what a controller says."""

    setpoint_c: float
    ceiling_c: float
    cycle: str
    left_s: float


def minded_by(state: Supervised | None, mono_s: float) -> Minded | None:
    """The cycle that runs or cools, or None."""
    cycle = None if state is None else state.cycle
    if state is None or cycle is None or state.phase not in RUNNING:
        return None
    return Minded(
        setpoint_c=cycle.setpoint_c,
        ceiling_c=cycle.ceiling_c,
        cycle=cycle.id,
        left_s=round(max(cycle.ends_mono_s - mono_s, 0.0), 1),
    )


def water_left(inside: Iterable[SpoolAnswer]) -> Spread:
    """Water above the limits of what lies in an oven [g]; one unknown spool makes it unknown."""
    sums = [0.0, 0.0, 0.0]
    for spool in inside:
        bands = (spool.moisture_pct.p10, spool.moisture_pct.p50, spool.moisture_pct.p90)
        if None in bands or spool.limit_pct is None or spool.left_g is None:
            return unknown(f"the water of {spool.name} is not known")
        for place, moisture_pct in enumerate(bands):
            sums[place] += max((moisture_pct or 0.0) - spool.limit_pct, 0.0) / 100.0 * spool.left_g
    low, middle, high = (three_digits(value) for value in sums)
    return Spread(p10=low, p50=middle, p90=high)


def answer(
    oven: Oven,
    device: DeviceRow | None,
    at_ms: int,
    minded: Minded | None = None,
    inside: Iterable[SpoolAnswer] = (),
) -> OvenAnswer:
    """The oven as of `at_ms`, from what its controller said last and from its supervision."""
    state = _state(device)
    said_ms = device.state_ms if device is not None else None
    if device is None or state is None or said_ms is None or said_ms > at_ms:
        return _silent(oven)
    age_s = (at_ms - said_ms) / 1000.0
    fresh = freshness_of(age_s, STATE_DUE_S, device)
    # The hottest sensor counts, for control and for a hand that reaches in.
    chamber_c = max((value for value in state.chamber_c if value is not None), default=None)
    return OvenAnswer(
        key=oven.key,
        name=oven.name,
        room=oven.room,
        at=rfc3339(said_ms / 1000.0),
        chamber_c=chamber_c,
        chamber_c_why=None if chamber_c is not None else "none of its sensors gives a temperature",
        setpoint_c=None if minded is None else minded.setpoint_c,
        ceiling_c=None if minded is None else minded.ceiling_c,
        state=str(state.state),
        cycle=minded.cycle if minded is not None else state.permit.cycle if state.permit else None,
        left_s=None if minded is None else minded.left_s,
        water_left_g=unknown(NOT_MINDED) if minded is None else water_left(inside),
        trip=asdict(state.trip) if state.trip else None,
        age_s=round(age_s, 3),
        stale=fresh not in (Freshness.FRESH, Freshness.LATE),
        freshness=fresh,
        hot=None if chamber_c is None else chamber_c >= HOT_C,
    )


def _state(device: DeviceRow | None) -> OvenState | None:
    if device is None or device.state_json is None:
        return None
    try:
        return parse_oven_state(device.state_json.encode())
    except BadMessageError:  # written by an earlier version that allowed more
        return None


def _silent(oven: Oven) -> OvenAnswer:
    why = "its controller has not been heard"
    return OvenAnswer(
        key=oven.key,
        name=oven.name,
        room=oven.room,
        at=None,
        chamber_c=None,
        chamber_c_why=why,
        setpoint_c=None,
        ceiling_c=None,
        state=None,
        state_why=why,
        cycle=None,
        left_s=None,
        water_left_g=unknown(why),
        trip=None,
        age_s=None,
        stale=True,
        freshness=Freshness.NEVER,
        hot=None,
    )
