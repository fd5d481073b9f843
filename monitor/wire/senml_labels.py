"""Bytes of a SenML pack to its records as written, each member checked for its kind (RFC 8428)."""

import base64
import io
import json
import re
from decimal import Decimal
from typing import Any

import cbor2
import msgspec
from msgspec import UNSET, UnsetType

from monitor.errors import BadMessageError

MAX_PAYLOAD_BYTES = 64 * 1024
MAX_RECORDS = 4_000
_MAX_NESTING = 16

# RFC 8428 section 6, table 4.
CBOR_KEYS = {
    "bver": -1, "bn": -2, "bt": -3, "bu": -4, "bv": -5, "bs": -6,
    "n": 0, "u": 1, "v": 2, "vs": 3, "vb": 4, "s": 5, "t": 6, "ut": 7, "vd": 8,
}  # fmt: skip
_LABELS = {key: label for label, key in CBOR_KEYS.items()}
_BASE = ("bver", "bn", "bt", "bu", "bv", "bs")
_NUMBERS = frozenset(("bver", "bt", "bv", "bs", "v", "s", "t", "ut"))
_TEXTS = frozenset(("bn", "bu", "n", "u", "vs"))
# Of the tags that cbor2 understands SenML allows the numbers only (2, 3 big integers, 4 decimal fraction).
_OTHER_TAGS = (0, 1, 5, 25, 28, 29, 30, 35, 36, 37, 52, 54, 100, 256, 258, 260, 261, 1004, 43000, 55799)


class Labelled(msgspec.Struct, gc=False):
    """One record as written; what it lacks is UNSET."""

    bver: float | UnsetType = UNSET
    bn: str | UnsetType = UNSET
    bt: float | UnsetType = UNSET
    bu: str | UnsetType = UNSET
    bv: float | UnsetType = UNSET
    bs: float | UnsetType = UNSET
    n: str | UnsetType = UNSET
    u: str | UnsetType = UNSET
    v: float | UnsetType = UNSET
    vs: str | UnsetType = UNSET
    vb: bool | UnsetType = UNSET
    s: float | UnsetType = UNSET
    t: float | UnsetType = UNSET
    ut: float | UnsetType = UNSET
    vd: str | UnsetType = UNSET


class Spoilt(Labelled):
    """A record that cannot be used. Its sound base members still hold for those that follow."""

    reason: str = ""
    text: str = ""
    spoilt_base: frozenset[str] = frozenset()  # base members that cannot be read


_FAST = msgspec.json.Decoder(list[Labelled])


def labelled(payload: bytes, content_type: str | None) -> list[Labelled]:
    """The records of a pack, the unusable ones as Spoilt; BadMessageError when it is no pack at all."""
    if len(payload) > MAX_PAYLOAD_BYTES:
        raise BadMessageError(f"the pack is longer than {MAX_PAYLOAD_BYTES} bytes")
    if _is_cbor(payload, content_type):
        return _checked(_cbor_array(payload), cbor=True)
    # The typed decoder skips members it does not know, so one that must be understood ("..._") or may be
    # hidden behind an escape takes the careful way, as does everything the typed decoder refuses.
    if b'_"' not in payload and b"\\" not in payload:
        try:
            records = _FAST.decode(payload)
        except (msgspec.MsgspecError, ValueError, RecursionError):
            pass
        else:
            _refuse_number_of(records)
            return records
    return _checked(_json_array(payload), cbor=False)


def shown(value: object) -> str:
    """Something a stranger sent, safe and short enough for one line."""
    text = ascii(value)
    return text if len(text) <= 80 else text[:77] + "..."


def _is_cbor(payload: bytes, content_type: str | None) -> bool:
    named = (content_type or "").split(";")[0].strip().lower()
    if named in ("application/senml+json", "application/senml+cbor"):
        return named.endswith("cbor")
    start = payload.lstrip(b" \t\r\n")[:1]
    if start == b"[":
        return False
    if payload and 0x80 <= payload[0] <= 0x9F:  # CBOR major type 4, an array
        return True
    raise BadMessageError("the payload is neither a JSON nor a CBOR array")


def _json_array(payload: bytes) -> list[Any]:
    try:
        # Every number as a double, as receivers may; what is not finite is refused with its record.
        parsed = json.loads(payload.decode("utf-8"), parse_int=float)
    except UnicodeDecodeError:
        raise BadMessageError("the pack is not UTF-8") from None
    except ValueError as error:
        raise BadMessageError(f"the pack is not JSON: {shown(str(error))}") from None
    except RecursionError:
        raise BadMessageError("the pack is nested too deeply") from None
    return _array(parsed)


def _cbor_array(payload: bytes) -> list[Any]:
    stream = io.BytesIO(payload)
    decoder = cbor2.CBORDecoder(stream, max_depth=_MAX_NESTING, semantic_decoders=_TAGS)
    try:
        parsed = decoder.decode()
    except (cbor2.CBORError, ValueError, TypeError, ArithmeticError, RecursionError) as error:
        raise BadMessageError(f"the pack is not CBOR: {shown(str(error))}") from None
    if stream.tell() != len(payload):
        raise BadMessageError("the pack is not CBOR: something follows the array")
    return _array(parsed)


def _opaque(_value: Any, _immutable: bool) -> Any:
    return cbor2.undefined


# No dates, patterns, shared references or the like are built from a stranger's bytes.
_TAGS = dict.fromkeys(_OTHER_TAGS, _opaque)


def _array(parsed: Any) -> list[Any]:
    if not isinstance(parsed, list):
        raise BadMessageError("the pack is not an array")
    _refuse_number_of(parsed)
    return parsed


def _refuse_number_of(records: list[Any]) -> None:
    if not records:
        raise BadMessageError("the pack has no records")
    if len(records) > MAX_RECORDS:
        raise BadMessageError(f"the pack has more than {MAX_RECORDS} records")


def _checked(records: list[Any], *, cbor: bool) -> list[Labelled]:
    return [_one(raw, cbor=cbor) for raw in records]


def _one(raw: Any, *, cbor: bool) -> Labelled:
    if not isinstance(raw, dict):
        return Spoilt(reason="the record is not an object", text=_text(raw))
    members: dict[str, Any] = {}
    reason: str | None = None
    spoilt_base: set[str] = set()
    for key, value in raw.items():
        label = _LABELS.get(key) if cbor and type(key) is int else key
        if not isinstance(label, str):
            continue  # a number that no standard has given a meaning yet
        wrong, value = _member(label, value, cbor=cbor)
        if wrong is None and label in members:
            wrong = f"{label} is given twice"
        if wrong is None:
            members[label] = value
        else:
            reason = reason or wrong
            if label.startswith("b"):
                spoilt_base.add(label)
    if reason is None:
        return Labelled(**{label: value for label, value in members.items() if label in CBOR_KEYS})
    sound = {label: members[label] for label in _BASE if label in members and label not in spoilt_base}
    return Spoilt(reason=reason, text=_text(raw), spoilt_base=frozenset(spoilt_base), **sound)


def _member(label: str, value: Any, *, cbor: bool) -> tuple[str | None, Any]:
    """What is wrong with a member, if anything, and its value in the kind that SenML gives it."""
    if label in _NUMBERS:
        number = _number(value)
        return (f"{label} must be a number", None) if number is None else (None, number)
    if label in _TEXTS:
        return (None, value) if isinstance(value, str) else (f"{label} must be a string", None)
    if label == "vb":
        return (None, value) if isinstance(value, bool) else ("vb must be true or false", None)
    if label == "vd":
        return _data(value, cbor=cbor)
    if label.endswith("_"):
        return f"{shown(label)} must be understood and is not", None
    return None, None


def _number(value: Any) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
        return None
    try:
        return float(value)
    except (OverflowError, ValueError):
        return float("inf")  # refused as not finite where it is used


def _data(value: Any, *, cbor: bool) -> tuple[str | None, Any]:
    if cbor:
        return (None, base64url(value)) if isinstance(value, bytes) else ("vd must be a byte string", None)
    return (None, value) if isinstance(value, str) else ("vd must be base64url text", None)


def base64url(data: bytes) -> str:
    """Without padding, as RFC 8428 writes it."""
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode("ascii")


_BASE64URL = re.compile(r"[A-Za-z0-9_-]*")


def from_base64url(text: str) -> bytes | None:
    """None when it is not base64url."""
    bare = text.rstrip("=")
    if not _BASE64URL.fullmatch(bare) or len(bare) % 4 == 1:
        return None
    return base64.urlsafe_b64decode(bare + "=" * (-len(bare) % 4))


def _text(raw: Any) -> str:
    """A record as it may be kept and printed: ASCII, bounded."""
    try:
        text = json.dumps(raw)
    except (TypeError, ValueError, RecursionError):
        text = ascii(raw)
    return text[:500]
