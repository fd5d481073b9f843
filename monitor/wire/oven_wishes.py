"""What programs ask round an oven besides heat now: starts for later, commissioning, the proof test."""

import datetime as dt
from typing import Annotated, Any, Literal

import msgspec

from monitor.errors import BadInputError
from monitor.model.answers import plain
from monitor.model.oven_run import RunKind
from monitor.model.planned_start import AnyStart, PlannedStart, StartLater
from monitor.wire.records import decoded, rfc3339, unix_s

_Line = Annotated[str, msgspec.Meta(min_length=1, max_length=200, pattern=r"^[^\x00-\x1f\x7f]*$")]
_Key = Annotated[str, msgspec.Meta(pattern=r"^[a-z0-9][a-z0-9_-]{0,62}$")]


class Body(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Who says so; whoever is signed in counts before it."""

    who: _Line | None = None


class _Later(Body, frozen=True, kw_only=True):
    load: Annotated[list[_Key], msgspec.Meta(min_length=1, max_length=40)]
    setpoint_c: Annotated[float, msgspec.Meta(ge=30.0, le=120.0)]
    duration_s: Annotated[float, msgspec.Meta(ge=60.0, le=172_800.0)]
    limited_by: _Line
    unattended: bool
    start_at: dt.datetime
    ready_by: dt.datetime | None = None
    target_pct: Annotated[float, msgspec.Meta(ge=0.0, le=20.0)] | None = None
    dry_g: Annotated[float, msgspec.Meta(ge=1.0, le=20_000.0)] | None = None
    loading_pct: Annotated[float, msgspec.Meta(ge=0.0, le=60.0)] | None = None


class CommissionBody(Body, frozen=True, kw_only=True):
    """A run, with the two ticks of the page: what they mean is said there."""

    order: _Line
    version: Annotated[int, msgspec.Meta(ge=0, le=2**53)]
    kind: RunKind
    prepared: Literal["yes"]
    stays: Literal["yes"]


class AcceptBody(Body, frozen=True, kw_only=True):
    run: _Line


class StepBody(Body, frozen=True, kw_only=True):
    """One step of the proof test as it was done."""

    numbers: Annotated[dict[_Key, float], msgspec.Meta(max_length=8)]
    ticks: Annotated[list[_Key], msgspec.Meta(max_length=8)] = msgspec.field(default_factory=list)


class ConcludeBody(Body, frozen=True, kw_only=True):
    passed: Literal["yes"]


def parse_later(content: bytes) -> tuple[StartLater, str | None]:
    """The wish and who says so; a time without zone is UTC. BadInputError names the member."""
    body: _Later = decoded(content, _Later, "order")
    if len(set(body.load)) != len(body.load):
        raise BadInputError("the order cannot be read: `load` names something twice")
    wish = StartLater(
        load=tuple(body.load),
        setpoint_c=body.setpoint_c,
        duration_s=body.duration_s,
        limited_by=body.limited_by,
        unattended=body.unattended,
        start_s=unix_s(body.start_at),
        due_s=None if body.ready_by is None else unix_s(body.ready_by),
        target_pct=body.target_pct,
        dry_g=body.dry_g,
        loading_pct=body.loading_pct,
    )
    return wish, body.who


def parse_who(content: bytes) -> str | None:
    """Who says so, of a body that may be empty; BadInputError where it is something else."""
    body: Body = decoded(content or b"{}", Body, "order")
    return body.who


def parse_commission(content: bytes) -> CommissionBody:
    body: CommissionBody = decoded(content, CommissionBody, "order")
    return body


def parse_accept(content: bytes) -> AcceptBody:
    body: AcceptBody = decoded(content, AcceptBody, "order")
    return body


def parse_step(content: bytes) -> StepBody:
    body: StepBody = decoded(content, StepBody, "step")
    return body


def parse_conclude(content: bytes) -> ConcludeBody:
    body: ConcludeBody = decoded(content, ConcludeBody, "order")
    return body


def dump_planned(start: AnyStart) -> dict[str, Any]:
    """A start that waits, with times in RFC 3339; one that cannot be read says what is wrong with it."""
    said: dict[str, Any] = {
        "number": start.number,
        "oven": start.oven,
        "start_at": rfc3339(start.start_s),
        "why": start.why,
    }
    if not isinstance(start, PlannedStart):
        return said | {"state": "unreadable"}
    names = (
        "load", "is_tray", "setpoint_c", "duration_s", "needed_s", "limited_by", "unattended", "who",
        "target_pct", "dry_g", "loading_pct",
    )  # fmt: skip
    return said | {
        **{name: plain(getattr(start, name)) for name in names},
        "state": str(start.state),
        "ready_by": None if start.due_s is None else rfc3339(start.due_s),
        "planned": rfc3339(start.planned_s),
    }
