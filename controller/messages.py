"""Orders from bytes to plain objects, and the state to bytes: the contract's payloads, read or refused."""

import json

from controller.limits import LEASE_MOST_S, PAYLOAD_MOST_BYTES

# Beyond it a JSON number is no longer exact.
_MOST_SEQ = 2**53
_MOST_CHARS = 64


class BadOrder(Exception):
    """Why a payload is no order; carries its number where that could be read."""

    def __init__(self, why: str, seq: int | None = None) -> None:
        super().__init__(why)
        self.why = why
        self.seq = seq


class Permit:
    """Permission to heat, as it arrived."""

    def __init__(
        self,
        *,
        cycle: str,
        seq: int,
        boot: str,
        state_seq: int,
        setpoint_c: float,
        ceiling_c: float,
        lease_s: float,
    ) -> None:
        self.cycle = cycle
        self.seq = seq
        self.boot = boot
        self.state_seq = state_seq
        self.setpoint_c = setpoint_c
        self.ceiling_c = ceiling_c
        self.lease_s = lease_s


class Reset:
    """The wish to unlock after a trip, as it arrived."""

    def __init__(self, *, trip: str, boot: str, who: str) -> None:
        self.trip = trip
        self.boot = boot
        self.who = who


def read_permit(payload: bytes) -> Permit:
    """BadOrder names the member that is missing or wrong."""
    said = _opened(payload)
    seq = _seq_or_none(said)
    try:
        return Permit(
            cycle=_text(said, "cycle"),
            seq=_whole(said, "seq"),
            boot=_text(said, "boot"),
            state_seq=_whole(said, "state_seq"),
            setpoint_c=_number(said, "setpoint_c", 0.0, 1000.0),
            ceiling_c=_number(said, "ceiling_c", 0.0, 1000.0),
            lease_s=_number(said, "lease_s", 0.0, LEASE_MOST_S),
        )
    except BadOrder as bad:
        raise BadOrder(bad.why, seq) from None


def read_reset(payload: bytes) -> Reset:
    said = _opened(payload)
    return Reset(trip=_text(said, "trip"), boot=_text(said, "boot"), who=_text(said, "who"))


def state_payload(said: dict[str, object]) -> bytes:
    return json.dumps(said).encode()


def read_kept(payload: bytes) -> dict[str, object]:
    """What this node wrote into its own non-volatile memory."""
    return _opened(payload)


def _opened(payload: bytes) -> dict[str, object]:
    if len(payload) > PAYLOAD_MOST_BYTES:
        raise BadOrder("longer than " + str(PAYLOAD_MOST_BYTES) + " bytes")
    try:
        said = json.loads(bytes(payload).decode())
    except (ValueError, RuntimeError, MemoryError):  # RuntimeError: nested too deeply
        raise BadOrder("not JSON") from None
    if not isinstance(said, dict):
        raise BadOrder("not an object")
    return said


def _member(said: dict[str, object], name: str) -> object:
    if name not in said:
        raise BadOrder("lacks " + name)
    return said[name]


def _text(said: dict[str, object], name: str) -> str:
    value = _member(said, name)
    if not isinstance(value, str) or not 1 <= len(value) <= _MOST_CHARS:
        raise BadOrder(name + " must be a text of 1 to " + str(_MOST_CHARS) + " characters")
    return value


def _whole(said: dict[str, object], name: str) -> int:
    value = _member(said, name)
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= _MOST_SEQ:
        raise BadOrder(name + " must be a whole number from 0 to 2^53")
    return value


def _number(said: dict[str, object], name: str, least: float, most: float) -> float:
    value = _member(said, name)
    # A comparison with nan is false: nan and infinity are refused here, too.
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not least <= value <= most:
        raise BadOrder(name + " must be a number from " + str(least) + " to " + str(most))
    return float(value)


def _seq_or_none(said: dict[str, object]) -> int | None:
    try:
        return _whole(said, "seq")
    except BadOrder:
        return None
