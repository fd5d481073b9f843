"""Topic names to kind of message and device, and back."""

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from monitor.errors import BadInputError, BadMessageError

PREFIX = "sorbwatch"
# Sites, nodes, channels, boxes, ovens and every inventory key.
KEY = re.compile(r"[a-z0-9][a-z0-9_-]{0,62}")
# An alarm's key joins a place and a type, so it may be as long as two keys.
_ALARM_KEY = re.compile(r"[a-z0-9][a-z0-9_-]{0,126}")
_MAX_TOPIC_CHARS = 300


@dataclass(frozen=True, slots=True, kw_only=True)
class NodeSenml:
    site: str
    node: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NodeOnline:
    site: str
    node: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OvenState:
    site: str
    oven: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OvenOnline:
    site: str
    oven: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OvenPermit:
    site: str
    oven: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OvenStop:
    site: str
    oven: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OvenReset:
    site: str
    oven: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxSummary:
    site: str
    box: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmState:
    site: str
    alarm: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MonitorOnline:
    site: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Other:
    """Below a site, but none of the topics this version knows."""

    site: str
    rest: str


Topic = (
    NodeSenml
    | NodeOnline
    | OvenState
    | OvenOnline
    | OvenPermit
    | OvenStop
    | OvenReset
    | BoxSummary
    | AlarmState
    | MonitorOnline
    | Other
)

# What stands before and after the key, and the name of the key.
_KINDS: dict[tuple[str, str | None], tuple[type[Any], str]] = {
    ("node", "senml"): (NodeSenml, "node"),
    ("node", "online"): (NodeOnline, "node"),
    ("oven", "state"): (OvenState, "oven"),
    ("oven", "online"): (OvenOnline, "oven"),
    ("oven", "permit"): (OvenPermit, "oven"),
    ("oven", "stop"): (OvenStop, "oven"),
    ("oven", "reset"): (OvenReset, "oven"),
    ("box", "summary"): (BoxSummary, "box"),
    ("alarm", None): (AlarmState, "alarm"),
}
_SHAPES = {kind: (before, after, key_name) for (before, after), (kind, key_name) in _KINDS.items()}


@lru_cache(maxsize=1024)
def parse(topic: str) -> Topic:
    """What this topic carries; BadMessageError when it is none of ours or names a key that may not be."""
    if len(topic) > _MAX_TOPIC_CHARS:
        raise BadMessageError(f"the topic is longer than {_MAX_TOPIC_CHARS} characters")
    levels = topic.split("/")
    if len(levels) < 3 or levels[0] != PREFIX:
        raise BadMessageError(f"the topic does not begin with {PREFIX}/<site>/")
    site, rest = levels[1], levels[2:]
    _refuse_bad_key("site", site, BadMessageError)
    if rest == ["monitor", "online"]:
        return MonitorOnline(site=site)
    found = _KINDS.get((rest[0], rest[2] if len(rest) == 3 else None)) if len(rest) in (2, 3) else None
    if found is None:
        return Other(site=site, rest="/".join(rest))
    kind, key_name = found
    _refuse_bad_key(key_name, rest[1], BadMessageError)
    known: Topic = kind(site=site, **{key_name: rest[1]})
    return known


def build(topic: Topic) -> str:
    """The topic's name; BadInputError when a key in it may not be."""
    _refuse_bad_key("site", topic.site, BadInputError)
    start = f"{PREFIX}/{topic.site}"
    if isinstance(topic, MonitorOnline):
        return f"{start}/monitor/online"
    if isinstance(topic, Other):
        return f"{start}/{topic.rest}"
    before, after, key_name = _SHAPES[type(topic)]
    key = getattr(topic, key_name)
    _refuse_bad_key(key_name, key, BadInputError)
    return f"{start}/{before}/{key}" + (f"/{after}" if after else "")


def _refuse_bad_key(name: str, key: str, error: type[BadInputError] | type[BadMessageError]) -> None:
    pattern = _ALARM_KEY if name == "alarm" else KEY
    if not pattern.fullmatch(key):
        raise error(f"the {name} {ascii(key[:80])} is not a key: small letters, digits, _ and -, at most 63")
