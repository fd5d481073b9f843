"""Payloads of nodes and ovens to model: packs, presence, oven states."""

import json
import re
from functools import lru_cache
from typing import Annotated, TypeVar

import msgspec

from monitor.errors import BadMessageError
from monitor.model.oven import LivingPermit, OvenPhase, OvenState, Refusal, Trip
from monitor.model.reading import QUANTITIES, Pack, Presence, Quantity, QuantitySpec, Rejected, WireReading
from monitor.wire.senml import RELATIVE_BELOW_S, Record, decode
from monitor.wire.senml_labels import MAX_PAYLOAD_BYTES, shown
from monitor.wire.topics import KEY

MAX_DUE_S = 7 * 86_400.0
MAX_SEQ = 2**53  # beyond it a JSON number is no longer exact
MAX_UPTIME_S = 1e10
_BOOT = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")
_OF_THE_DEVICE = ("seq", "boot", "uptime")


class _Unusable(Exception):
    """Why a record is no reading."""


def parse_pack(node: str, payload: bytes, content_type: str | None) -> Pack:
    """What a node's SenML pack says; BadMessageError when it cannot be told from other packs."""
    decoded = decode(payload, content_type)
    rejected = list(decoded.rejected)
    readings: list[WireReading] = []
    device: dict[str, Record] = {}
    known: set[tuple[str, Quantity, float]] = set()
    for record in decoded.records:
        name = record.name
        name = name[name.rfind(":") + 1 :]
        try:
            if name in _OF_THE_DEVICE:
                _keep_once(device, name, record)
                continue
            reading = _reading(name, record)
            identity = (reading.channel, reading.quantity, record.time_s)
            if identity in known:
                raise _Unusable(f"{name} is given twice for the same time")
            known.add(identity)
            readings.append(reading)
        except _Unusable as error:
            rejected.append(Rejected(reason=str(error), record=_text(record)))
    return Pack(
        node=node,
        boot=_boot(_needed("boot", device, rejected)),
        seq=_seq(_needed("seq", device, rejected)),
        uptime_s=_uptime_s(device.get("uptime"), rejected),
        readings=tuple(readings),
        rejected=tuple(rejected),
    )


def _reading(name: str, record: Record) -> WireReading:
    measured = _measured(name)
    if isinstance(measured, str):
        raise _Unusable(measured)
    channel, quantity, spec = measured
    time_s, due_s = record.time_s, record.update_s
    if due_s is not None and not 0.0 < due_s <= MAX_DUE_S:
        raise _Unusable(f"{name}: ut must be above 0 s and at most 7 days")
    is_absolute = time_s >= RELATIVE_BELOW_S
    if not is_absolute and time_s > 0.0:
        raise _Unusable(f"{name}: its time lies in the future")
    if time_s < -RELATIVE_BELOW_S:
        raise _Unusable(f"{name}: its time lies more than eight years back")
    return WireReading(
        channel=channel,
        quantity=quantity,
        value=_value(name, record, spec),
        time_s=time_s if is_absolute else None,
        ago_s=0.0 if is_absolute else 0.0 - time_s,
        due_s=due_s,
    )


def _value(name: str, record: Record, spec: QuantitySpec) -> float:
    value, unit = record.value, spec.unit
    if unit is None:
        if type(value) is not bool:
            raise _Unusable(f"{name} must be true or false")
        return 1.0 if value else 0.0
    if type(value) is not float:
        raise _Unusable(f"{name} must be a number")
    if record.unit != unit:
        raise _Unusable(f"{name} must be in {unit}, not {record.unit or 'without a unit'}")
    if not spec.lowest <= value <= spec.highest:
        raise _Unusable(
            f"{name} is {value:.6g} {unit}, outside of {spec.lowest:g} to {spec.highest:g} {unit}"
        )
    return value


# A node says the same names all day long.
@lru_cache(maxsize=4096)
def _measured(name: str) -> tuple[str, Quantity, QuantitySpec] | str:
    """Channel and quantity that a resolved name stands for, or why it stands for none."""
    channel, slash, quantity = name.rpartition("/")
    if not slash:
        return f"{shown(name)} is neither <channel>/<quantity> nor one of {', '.join(_OF_THE_DEVICE)}"
    if not KEY.fullmatch(channel):
        return f"the channel {shown(channel)} is not a key: small letters, digits, _ and -, at most 63"
    try:
        known = Quantity(quantity)
    except ValueError:
        return f"the quantity {shown(quantity)} is not known"
    return channel, known, QUANTITIES[known]


def _keep_once(device: dict[str, Record], name: str, record: Record) -> None:
    earlier = device.setdefault(name, record)
    if earlier is not record and earlier.value != record.value:
        raise BadMessageError(f"the pack gives {name} twice with different values")


def _needed(name: str, device: dict[str, Record], rejected: list[Rejected]) -> Record:
    if name in device:
        return device[name]
    because = f" (first bad record: {rejected[0].reason})" if rejected else ""
    raise BadMessageError(f"the pack lacks {name}{because}")


def _boot(record: Record) -> str:
    value = record.value
    if not isinstance(value, str) or not _BOOT.fullmatch(value):
        raise BadMessageError("boot must be a string of 1 to 64 letters, digits, '.', '_' and '-'")
    return value


def _seq(record: Record) -> int:
    value = record.value
    if type(value) is not float or not 0.0 <= value <= MAX_SEQ or value != int(value):
        raise BadMessageError("seq must be a whole number from 0 to 2^53")
    return int(value)


def _uptime_s(record: Record | None, rejected: list[Rejected]) -> float | None:
    """A pack without a usable uptime is placed by its arrival, and says so."""
    if record is None:
        return None
    value = record.value
    if type(value) is float and record.unit == "s" and 0.0 <= value <= MAX_UPTIME_S:
        return value
    rejected.append(Rejected(reason="uptime must be in s, from 0 to 1e10", record=_text(record)))
    return None


def _text(record: Record) -> str:
    members = {name: getattr(record, name) for name in record.__struct_fields__}
    said = {name: value for name, value in members.items() if value is not None}
    return json.dumps(said, default=ascii)[:500]


# Presence and oven states: strict structs at the door, turned into the model's nouns at once.

_Text = Annotated[str, msgspec.Meta(max_length=200)]
_Key = Annotated[str, msgspec.Meta(min_length=1, max_length=64)]
_Seq = Annotated[int, msgspec.Meta(ge=0, le=MAX_SEQ)]
_Seconds = Annotated[float, msgspec.Meta(ge=0, le=MAX_UPTIME_S)]
# Far above what an oven should reach: an overheated chamber is the one message that must not be refused.
_Chamber = Annotated[float, msgspec.Meta(ge=-60, le=1000)]


class _PresenceDoor(msgspec.Struct, frozen=True):
    online: bool
    boot: _Key | None = None
    firmware: _Text | None = None
    sample_s: Annotated[float, msgspec.Meta(gt=0, le=MAX_DUE_S)] | None = None


class _PermitDoor(msgspec.Struct, frozen=True):
    cycle: _Key
    seq: _Seq
    left_s: _Seconds


class _RefusalDoor(msgspec.Struct, frozen=True):
    seq: _Seq | None
    why: _Text


class _TripDoor(msgspec.Struct, frozen=True):
    id: _Key
    rule: _Text
    what: _Text
    remote_reset: bool


class _OvenDoor(msgspec.Struct, frozen=True):
    boot: _Key
    uptime_s: _Seconds
    seq: _Seq
    state: OvenPhase
    chamber_c: Annotated[list[_Chamber | None], msgspec.Meta(min_length=1, max_length=16)]
    sample_seq: Annotated[list[_Seq], msgspec.Meta(min_length=1, max_length=16)]
    humidity_pct: Annotated[float, msgspec.Meta(ge=0, le=100)] | None
    heater: Annotated[float, msgspec.Meta(ge=0, le=1)]
    power_w: Annotated[float, msgspec.Meta(ge=0, le=20_000)] | None
    fan: bool
    door_open: bool | None
    cutout_ok: bool
    armed_s: _Seconds | None
    permit: _PermitDoor | None
    refused: _RefusalDoor | None
    trip: _TripDoor | None


_PRESENCE = msgspec.json.Decoder(_PresenceDoor)
_OVEN = msgspec.json.Decoder(_OvenDoor)
_Door = TypeVar("_Door")


def parse_presence(payload: bytes) -> Presence:
    """Whether a node or oven is there; one that is must say which boot, firmware and sampling time."""
    said = _opened(_PRESENCE, payload, "presence")
    if said.online:
        for name in ("boot", "firmware", "sample_s"):
            if getattr(said, name) is None:
                raise BadMessageError(f"presence: lacks {name}")
    if said.boot is not None:
        _refuse_bad_boot(said.boot, "presence")
    return Presence(online=said.online, boot=said.boot, firmware=said.firmware, sample_s=said.sample_s)


def parse_oven_state(payload: bytes) -> OvenState:
    """What an oven's controller says of itself; BadMessageError names the member that is missing or wrong."""
    said = _opened(_OVEN, payload, "oven state")
    _refuse_bad_boot(said.boot, "oven state")
    if len(said.sample_seq) != len(said.chamber_c):
        raise BadMessageError("oven state: sample_seq must have one entry per sensor of chamber_c")
    permit, refused, trip = said.permit, said.refused, said.trip
    return OvenState(
        boot=said.boot,
        uptime_s=said.uptime_s,
        seq=said.seq,
        state=said.state,
        chamber_c=tuple(said.chamber_c),
        sample_seq=tuple(said.sample_seq),
        humidity_pct=said.humidity_pct,
        heater=said.heater,
        power_w=said.power_w,
        fan=said.fan,
        door_open=said.door_open,
        cutout_ok=said.cutout_ok,
        armed_s=said.armed_s,
        permit=LivingPermit(cycle=permit.cycle, seq=permit.seq, left_s=permit.left_s) if permit else None,
        refused=Refusal(seq=refused.seq, why=refused.why) if refused else None,
        trip=Trip(id=trip.id, rule=trip.rule, what=trip.what, remote_reset=trip.remote_reset)
        if trip
        else None,
    )


def _opened(decoder: "msgspec.json.Decoder[_Door]", payload: bytes, what: str) -> _Door:
    if len(payload) > MAX_PAYLOAD_BYTES:
        raise BadMessageError(f"{what}: longer than {MAX_PAYLOAD_BYTES} bytes")
    try:
        return decoder.decode(payload)
    except RecursionError:
        raise BadMessageError(f"{what}: nested too deeply") from None
    except (msgspec.MsgspecError, ValueError) as error:
        reason = ascii(str(error))[1:-1][:200]
        raise BadMessageError(f"{what}: {reason}") from None


def _refuse_bad_boot(boot: str, what: str) -> None:
    if not _BOOT.fullmatch(boot):
        raise BadMessageError(f"{what}: boot must be 1 to 64 letters, digits, '.', '_' and '-'")
