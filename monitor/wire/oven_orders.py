"""What programs ask of an oven as JSON, and what they are told of it: strict and bounded both ways."""

from typing import Annotated, Any

import msgspec

from monitor.errors import BadInputError
from monitor.model.answers import plain
from monitor.model.cycle import Cycle, EndedCycle, LatchedTrip, Problem
from monitor.model.oven_look import OvenLook, StartWish
from monitor.model.oven_progress import Progress
from monitor.wire.records import MAX_BYTES, decoded, rfc3339

_Line = Annotated[str, msgspec.Meta(min_length=1, max_length=200, pattern=r"^[^\x00-\x1f\x7f]*$")]
_Key = Annotated[str, msgspec.Meta(pattern=r"^[a-z0-9][a-z0-9_-]{0,62}$")]
_Version = Annotated[int, msgspec.Meta(ge=0, le=2**53)]


class _Order(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What every order but stop carries (B-16); the same id again does nothing."""

    order: _Line
    version: _Version
    who: _Line | None = None  # whoever is signed in counts before it


class StartBody(_Order, frozen=True, kw_only=True):
    load: Annotated[list[_Key], msgspec.Meta(min_length=1, max_length=40)]
    setpoint_c: Annotated[float, msgspec.Meta(ge=30.0, le=120.0)]
    duration_s: Annotated[float, msgspec.Meta(ge=60.0, le=172_800.0)]  # B-15: finite, 48 h at most
    limited_by: _Line
    unattended: bool
    # What its plan was made for, so that the end goes by it: never hotter or longer than what is asked here.
    target_pct: Annotated[float, msgspec.Meta(ge=0.0, le=20.0)] | None = None
    first_m: Annotated[float, msgspec.Meta(ge=1.0, le=5_000.0)] | None = None


class ExtendBody(_Order, frozen=True, kw_only=True):
    cycle: _Line
    extra_s: Annotated[float, msgspec.Meta(ge=60.0, le=172_800.0)]


class ResetBody(_Order, frozen=True, kw_only=True):
    trip: _Line
    checked: Annotated[list[_Line], msgspec.Meta(min_length=1, max_length=20)]
    text: _Line


class _StopBody(msgspec.Struct, frozen=True, kw_only=True):
    why: str = ""


def parse_start(content: bytes, now_s: float) -> tuple[StartWish, str | None]:
    """The wish, shown as of now to whoever wrote it, and who says so; BadInputError names the member."""
    body: StartBody = decoded(content, StartBody, "order")
    if len(set(body.load)) != len(body.load):
        raise BadInputError("the order cannot be read: `load` names something twice")
    wish = StartWish(
        order=body.order,
        version=body.version,
        load=tuple(body.load),
        setpoint_c=body.setpoint_c,
        duration_s=body.duration_s,
        limited_by=body.limited_by,
        unattended=body.unattended,
        shown_s=now_s,
        target_pct=body.target_pct,
        first_m=body.first_m,
    )
    return wish, body.who


def parse_extend(content: bytes) -> ExtendBody:
    body: ExtendBody = decoded(content, ExtendBody, "order")
    return body


def parse_reset(content: bytes) -> ResetBody:
    body: ResetBody = decoded(content, ResetBody, "order")
    return body


def stop_reason(content: bytes) -> str:
    """Why, as far as it can be read: a stop is obeyed whatever is sent with it (B-17)."""
    otherwise = "stopped by a program"
    if len(content) > MAX_BYTES:
        return otherwise
    try:
        why = msgspec.json.decode(content, type=_StopBody).why
    except (msgspec.MsgspecError, RecursionError, UnicodeDecodeError):
        return otherwise
    readable = "".join(char for char in why if char.isprintable()).strip()
    return readable[:200] or otherwise


def dump_problem(problem: Problem) -> dict[str, Any]:
    """Of application/problem+json, in its list `problems`."""
    return {
        "rule": problem.rule,
        "title": problem.title,
        "detail": problem.detail,
        "limiting_item": problem.limiting_item,
        "limit_c": problem.limit_c,
    }


def dump_look(look: OvenLook) -> dict[str, Any]:
    """The oven with times in RFC 3339; clocks that mean nothing outside this process are left out."""
    names = (
        "key", "name", "room", "phase", "version", "age_s", "is_fresh", "chamber_c", "hottest_c", "is_hot",
        "heater", "power_w", "fan", "door_open", "armed_s", "permit_left_s", "refused", "left_s",
        "is_out_of_service",
        "stop_asked_s", "load", "checklist", "checklist_who", "is_cutout_confirmed",
    )  # fmt: skip
    return {
        **{name: plain(getattr(look, name)) for name in names},
        "ends_at": _at(look.ends_at_s),
        "checklist_at": _at(look.checklist_at_s),
        "proof_tested": _at(look.proof_tested_s),
        "cycle": None if look.cycle is None else _cycle(look.cycle),
        "ended": None if look.ended is None else _ended(look.ended),
        "trip": None if look.trip is None else _trip(look.trip),
        "progress": None if look.progress is None else _progress(look.progress),
        "records": [
            {"at": rfc3339(each.at_wall_s), "kind": str(each.kind), "what": each.what, "cycle": each.cycle,
             "rule": each.rule, "who": each.who}
            for each in look.records
        ],
    }  # fmt: skip


def _cycle(cycle: Cycle) -> dict[str, Any]:
    names = (
        "id", "who", "is_unattended", "is_armed_locally", "load", "setpoint_c", "asked_setpoint_c",
        "ceiling_c", "limit_c", "limited_by", "duration_s", "target_pct", "first_m",
    )  # fmt: skip
    return {**{name: plain(getattr(cycle, name)) for name in names}, "started": rfc3339(cycle.started_wall_s)}


def _ended(cycle: EndedCycle) -> dict[str, Any]:
    names = ("cycle", "why", "ran_s", "duration_s", "setpoint_c", "load")
    members = {name: plain(getattr(cycle, name)) for name in names}
    return {**members, "ending": str(cycle.ending), "ended": rfc3339(cycle.ended_wall_s)}


def _progress(progress: Progress) -> dict[str, Any]:
    members: dict[str, Any] = plain(progress)
    members["at"] = rfc3339(members.pop("at_s"))
    return members


def _trip(trip: LatchedTrip) -> dict[str, Any]:
    members = {
        name: plain(getattr(trip, name)) for name in ("id", "rule", "what", "is_safety", "fired", "reset_by")
    }
    return {**members, "at": rfc3339(trip.at_wall_s)}


def _at(time_s: float | None) -> str | None:
    return None if time_s is None else rfc3339(time_s)
