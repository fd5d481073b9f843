"""SenML packs (RFC 8428, units RFC 8798, versions RFC 9100) to resolved records, and back."""

import json
import math
import re
from functools import lru_cache
from typing import Any

import cbor2
import msgspec
from msgspec import UNSET

from monitor.model.reading import Rejected
from monitor.wire.senml_labels import CBOR_KEYS, Labelled, Spoilt, base64url, from_base64url, labelled, shown
from monitor.wire.units import PRIMARY, SECONDARY

# RFC 8428 section 4.5.3: times below this are relative to now.
RELATIVE_BELOW_S = 2.0**28
_LATEST_S = 253_402_300_800.0  # the year 10000
_MAX_NAME_CHARS = 255
_NAME = re.compile(r"[A-Za-z0-9][-A-Za-z0-9:._/]*")  # RFC 8428 section 4.5.1
# RFC 9100: the version is a sum of feature bits; 1 and 3 make the original 10, 4 means secondary units.
DEFAULT_VERSION = 10
SECONDARY_UNITS_BIT = 16
KNOWN_VERSION = DEFAULT_VERSION | SECONDARY_UNITS_BIT

Value = float | str | bool | bytes


class Record(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """One record, base members resolved, its unit a primary one."""

    name: str
    unit: str | None = None
    value: Value | None = None  # None only beside a sum
    total: float | None = None  # `s`: the value summed over time
    time_s: float = 0.0  # Unix seconds, or relative to now when below 2^28; 0 = about now
    update_s: float | None = None  # `ut`: the next comes within this time
    unit_undeclared: bool = False  # its secondary unit was not announced by the pack's version


class Decoded(msgspec.Struct, frozen=True, kw_only=True):
    """What a pack said: the sound records in its order, and the others with the reason."""

    records: list[Record]
    rejected: list[Rejected]


class _BadRecord(Exception):
    """Why one record cannot be used."""


class _Bases:
    """The base members as they stand at one point of a pack."""

    __slots__ = ("name", "spoilt", "time_s", "total", "unit", "value", "version")

    def __init__(self) -> None:
        self.version: float = DEFAULT_VERSION
        self.name = ""
        self.time_s = 0.0
        self.unit: str | None = None
        self.value = 0.0
        self.total: float | None = None
        self.spoilt: set[str] = set()

    def take(self, record: Labelled) -> None:
        """Members of this record hold from here on; one that cannot be read holds up all that follow."""
        if record.bver is not UNSET:
            self.version = record.bver
        if record.bn is not UNSET:
            self.name = record.bn
        if record.bt is not UNSET:
            self.time_s = record.bt
        if record.bu is not UNSET:
            self.unit = record.bu
        if record.bv is not UNSET:
            self.value = record.bv
        if record.bs is not UNSET:
            self.total = record.bs
        if self.spoilt:
            self.spoilt -= {label for label in self.spoilt if getattr(record, label, UNSET) is not UNSET}
        if isinstance(record, Spoilt):
            self.spoilt |= record.spoilt_base


def decode(payload: bytes, content_type: str | None, *, lenient: bool = False) -> Decoded:
    """Records of a pack in JSON or CBOR; BadMessageError when it is no pack.

    `lenient` accepts secondary units that the pack's version does not announce, and marks the record.
    """
    bases = _Bases()
    records: list[Record] = []
    rejected: list[Rejected] = []
    for written in labelled(payload, content_type):
        bases.take(written)
        try:
            records.append(_resolved(written, bases, lenient))
        except _BadRecord as error:
            rejected.append(Rejected(reason=str(error), record=_text(written)))
    return Decoded(records=records, rejected=rejected)


def resolve(records: list[Record], now_s: float) -> list[Record]:
    """The resolved form: absolute times, in chronological order."""
    absolute = [
        record
        if record.time_s >= RELATIVE_BELOW_S
        else msgspec.structs.replace(record, time_s=now_s + record.time_s)
        for record in records
    ]
    return sorted(absolute, key=lambda record: record.time_s)


def encode_json(records: list[Record]) -> bytes:
    """A pack in JSON; what records have in common is said once."""
    return json.dumps(_written(records, binary=False), separators=(",", ":"), allow_nan=False).encode()


def encode_cbor(records: list[Record]) -> bytes:
    """A pack in CBOR."""
    return cbor2.dumps(
        [
            {CBOR_KEYS[label]: value for label, value in members.items()}
            for members in _written(records, binary=True)
        ]
    )


def _resolved(written: Labelled, bases: _Bases, lenient: bool) -> Record:
    if type(written) is Spoilt:
        raise _BadRecord(written.reason)
    if bases.spoilt:
        raise _BadRecord(f"{shown(min(bases.spoilt))} in a record before it could not be read")
    if bases.version != DEFAULT_VERSION:
        _refuse_version(bases.version)
    own = written.n
    name = bases.name if own is UNSET else bases.name + own
    if (wrong := _wrong_name(name)) is not None:
        raise _BadRecord(wrong)
    value = _value(written, bases)
    total = _total(written, bases)
    time_s = bases.time_s if written.t is UNSET else bases.time_s + written.t
    if not time_s < _LATEST_S or time_s < -_LATEST_S:
        raise _BadRecord("its time is no time")
    update_s = None if written.ut is UNSET else written.ut
    if update_s is not None and not math.isfinite(update_s):
        raise _BadRecord("ut is not finite")
    unit = bases.unit if written.u is UNSET else written.u
    if unit is None or unit in PRIMARY:
        return Record(name=name, unit=unit, value=value, total=total, time_s=time_s, update_s=update_s)
    record = Record(name=name, unit=unit, value=value, total=total, time_s=time_s, update_s=update_s)
    return _in_primary_unit(record, unit, bases.version, lenient)


def _refuse_version(version: float) -> None:
    if not (version > 0 and version == int(version) if math.isfinite(version) else False):
        raise _BadRecord("bver is not a positive whole number")
    # Below 10 are the drafts, which had no feature bits; from there on every bit must be known.
    if version > DEFAULT_VERSION and int(version) & ~KNOWN_VERSION:
        raise _BadRecord(f"version {int(version):.9g} is newer than what is understood here")


# A node says the same names all day long.
@lru_cache(maxsize=4096)
def _wrong_name(name: str) -> str | None:
    if not name:
        return "the record has no name"
    if len(name) > _MAX_NAME_CHARS:
        return f"the name is longer than {_MAX_NAME_CHARS} characters"
    if not _NAME.fullmatch(name):
        return f"the name {shown(name)} has characters that no name may have"
    return None


def _value(written: Labelled, bases: _Bases) -> Value | None:
    v, vs, vb, vd = written.v, written.vs, written.vb, written.vd
    given = (v is not UNSET) + (vs is not UNSET) + (vb is not UNSET) + (vd is not UNSET)
    if given > 1:
        raise _BadRecord("the record has more than one value")
    if given == 0:
        if written.s is UNSET:
            raise _BadRecord("the record has no value")
        return None
    if v is not UNSET:
        number = v + bases.value
        if not math.isfinite(number):
            raise _BadRecord("the value is not finite")
        return number
    if vs is not UNSET:
        return vs
    return vb if vb is not UNSET else _bytes(vd)


def _bytes(vd: Any) -> bytes:
    data = from_base64url(vd)
    if data is None:
        raise _BadRecord("vd is not base64url")
    return data


def _total(written: Labelled, bases: _Bases) -> float | None:
    total = bases.total
    if written.s is not UNSET:
        total = written.s + (total or 0.0)
    if total is not None and not math.isfinite(total):
        raise _BadRecord("the sum is not finite")
    return total


def _in_primary_unit(record: Record, unit: str, version: float, lenient: bool) -> Record:
    secondary = SECONDARY.get(unit)
    if secondary is None:
        raise _BadRecord(f"the unit {shown(unit)} is not known")
    declared = version > DEFAULT_VERSION and bool(int(version) & SECONDARY_UNITS_BIT)
    if not declared and not lenient:
        raise _BadRecord(f"the unit {unit} needs bver {KNOWN_VERSION}; send {secondary.unit} instead")
    value, total = record.value, record.total
    if type(value) is float:
        value = secondary.converted(value)
    if total is not None:
        total = secondary.converted_sum(total)
        if total is None:
            raise _BadRecord(f"a sum in {unit} cannot be converted")
    if not all(math.isfinite(number) for number in (value, total) if type(number) is float):
        raise _BadRecord("the value is not finite")
    return msgspec.structs.replace(
        record, unit=secondary.unit, value=value, total=total, unit_undeclared=not declared
    )


def _text(written: Labelled) -> str:
    if isinstance(written, Spoilt):
        return written.text
    members = {label: getattr(written, label) for label in CBOR_KEYS}
    return json.dumps({label: value for label, value in members.items() if value is not UNSET})[:500]


def _written(records: list[Record], *, binary: bool) -> list[dict[str, Any]]:
    """Members to write. `bt` stands in for `t` so that no time is ever the rounded sum of two."""
    base_name, base_time_s = "", 0.0
    pack: list[dict[str, Any]] = []
    for record in records:
        members: dict[str, Any] = {}
        cut = max(record.name.rfind(":"), record.name.rfind("/")) + 1
        if record.name[:cut] != base_name:
            base_name = members["bn"] = record.name[:cut]
        if record.time_s != base_time_s:
            base_time_s = members["bt"] = record.time_s
        if cut < len(record.name):
            members["n"] = record.name[cut:]
        members.update(_own_members(record, binary=binary))
        pack.append(members)
    return pack


def _own_members(record: Record, *, binary: bool) -> dict[str, Any]:
    value = record.value
    data: dict[str, Value]
    if isinstance(value, bytes):
        data = {"vd": value if binary else base64url(value)}
    elif isinstance(value, bool):
        data = {"vb": value}
    else:
        data = {} if value is None else {"vs" if isinstance(value, str) else "v": value}
    named = {"u": record.unit, "s": record.total, "ut": record.update_s}
    return {label: member for label, member in named.items() if member is not None} | data
