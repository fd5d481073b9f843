"""Captures: what passed on the broker, one JSON object a line, plain or gzipped."""

import base64
import binascii
import gzip
import math
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import IO, Annotated, Self, cast

import msgspec

from monitor.errors import BadInputError, BadMessageError
from monitor.wire.senml_labels import MAX_PAYLOAD_BYTES

# The longest payload in base 64, the longest topic escaped, and room for the rest.
_MAX_LINE_BYTES = 512 * 1024
_LATEST_S = 253_402_300_800.0  # the year 10000


@dataclass(frozen=True, slots=True, kw_only=True)
class Captured:
    """One message as it arrived."""

    at_s: float  # Unix seconds UTC
    topic: str
    retain: bool
    payload: bytes


class _Line(msgspec.Struct):
    at: Annotated[float, msgspec.Meta(ge=0, lt=_LATEST_S)]
    topic: Annotated[str, msgspec.Meta(min_length=1, max_length=65_535)]
    retain: bool
    payload: msgspec.Raw = msgspec.field(default_factory=msgspec.Raw)
    payload_b64: str | None = None


class _PlainLine(msgspec.Struct):
    at: float
    topic: str
    retain: bool
    payload: msgspec.Raw


class _Base64Line(msgspec.Struct):
    at: float
    topic: str
    retain: bool
    payload_b64: str


_LINE = msgspec.json.Decoder(_Line)


class CaptureWriter:
    """Writes a capture; gzipped when the name ends in .gz. A context manager."""

    def __init__(self, path: Path) -> None:
        self._file = _opened(path, "wb")

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def write(self, captured: Captured) -> None:
        self._file.write(encode_line(captured))

    def close(self) -> None:
        self._file.close()


def encode_line(captured: Captured) -> bytes:
    """One line, with its end. A JSON payload stands in it byte for byte, so that no number changes."""
    at, topic, retain, payload = captured.at_s, captured.topic, captured.retain, captured.payload
    line: _PlainLine | _Base64Line
    if _is_json(payload):
        # Line ends can only be white space between members here: inside a string JSON escapes them.
        one_line = payload.replace(b"\r", b" ").replace(b"\n", b" ")
        line = _PlainLine(at=at, topic=topic, retain=retain, payload=msgspec.Raw(one_line))
    else:
        text = base64.b64encode(payload).decode("ascii")
        line = _Base64Line(at=at, topic=topic, retain=retain, payload_b64=text)
    return msgspec.json.encode(line) + b"\n"


def read_capture(
    path: Path, on_bad_line: Callable[[BadMessageError], None] | None = None
) -> Iterator[Captured]:
    """The messages of a capture, one at a time.

    A bad line raises BadMessageError with its number, or is handed to `on_bad_line` and passed over.
    """
    with _opened(path, "rb") as file:
        number = 0
        while True:
            number += 1
            try:
                line = _next_line(file)
                if line is None:
                    return
                if line.strip():
                    yield decode_line(line)
            except BadMessageError as error:
                told = BadMessageError(f"line {number}: {error}")
                if on_bad_line is None:
                    raise told from None
                on_bad_line(told)
                if isinstance(error, _EndsEarlyError):
                    return


def decode_line(line: bytes) -> Captured:
    """One line to the message it holds; BadMessageError says what is wrong with it."""
    try:
        said = _LINE.decode(line)
    except RecursionError:
        raise BadMessageError("nested too deeply") from None
    except (msgspec.MsgspecError, ValueError) as error:
        raise BadMessageError(ascii(str(error))[1:-1][:200]) from None
    return Captured(at_s=said.at, topic=said.topic, retain=said.retain, payload=_payload(said))


def _payload(said: _Line) -> bytes:
    raw = bytes(said.payload)
    if bool(raw) == (said.payload_b64 is not None):
        raise BadMessageError("needs either payload or payload_b64")
    if said.payload_b64 is not None:
        try:
            raw = base64.b64decode(said.payload_b64, validate=True)
        except (binascii.Error, ValueError):
            raise BadMessageError("payload_b64 is not base 64") from None
    if len(raw) > MAX_PAYLOAD_BYTES:
        raise BadMessageError(f"the payload is longer than {MAX_PAYLOAD_BYTES} bytes")
    return raw


class _EndsEarlyError(BadMessageError):
    """Nothing after this can be read."""


def _next_line(file: IO[bytes]) -> bytes | None:
    try:
        line = file.readline(_MAX_LINE_BYTES + 1)
        if len(line) <= _MAX_LINE_BYTES:
            return line or None
        while not line.endswith(b"\n") and line:
            line = file.readline(_MAX_LINE_BYTES)
    except (EOFError, gzip.BadGzipFile, zlib.error):
        raise _EndsEarlyError("the gzipped file is damaged or ends early") from None
    raise BadMessageError(f"longer than {_MAX_LINE_BYTES} bytes")


def _is_json(payload: bytes) -> bool:
    try:
        value = msgspec.json.decode(payload)
    except (msgspec.MsgspecError, ValueError, RecursionError):
        return False
    return not (isinstance(value, float) and not math.isfinite(value))


def _opened(path: Path, mode: str) -> IO[bytes]:
    try:
        if path.suffix == ".gz":
            return cast(IO[bytes], gzip.open(path, mode))
        return cast(IO[bytes], path.open(mode))
    except OSError as error:
        raise BadInputError(f"{path}: {error.strerror or error}") from None
