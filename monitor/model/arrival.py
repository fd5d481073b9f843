"""A message as it came in, before anybody has looked into it."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class AckToken:
    """What acknowledges one message; only good on the connection that brought it."""

    connection: int
    mid: int
    qos: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrival:
    topic: str
    payload: bytes
    retain: bool = False
    content_type: str | None = None
    wall_s: float  # Unix seconds UTC of its arrival
    mono_s: float  # the same moment on a clock that nobody sets
    token: AckToken | None = None  # None: nothing to acknowledge
