"""What an oven's newest state tells."""

from dataclasses import asdict

from monitor.errors import BadMessageError
from monitor.model.answers import Freshness, OvenAnswer, unknown
from monitor.model.batch import DeviceRow
from monitor.model.inventory import Oven
from monitor.model.oven import OvenState
from monitor.service.air import freshness_of, rfc3339
from monitor.wire.messages import parse_oven_state

HOT_C = 55.0  # B-45: above it a chamber or door burns
STATE_DUE_S = 10.0  # the controller speaks at least this often


def answer(oven: Oven, device: DeviceRow | None, at_ms: int) -> OvenAnswer:
    """The oven as of `at_ms`, from what its controller said last."""
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
        setpoint_c=None,
        ceiling_c=None,
        state=str(state.state),
        cycle=state.permit.cycle if state.permit else None,
        left_s=None,
        water_left_g=unknown("no drying cycle is followed in this version"),
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
