"""The answers a page, a command or a message gives; member names are those of the contract.

A member that cannot be told is None and its neighbour `<member>_why` says why; `plain()` leaves
unused `_why` members out.
"""

import datetime as dt
from dataclasses import dataclass, field, fields, is_dataclass
from enum import StrEnum
from typing import Any


class Freshness(StrEnum):
    """How much a newest reading can still be believed."""

    FRESH = "fresh"  # the next one is not due yet
    LATE = "late"  # past its due time
    STALE = "stale"  # past twice its due time
    LOST = "lost"  # past ten times, or its node is known to be off line
    NEVER = "never"  # nothing was ever heard


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """A quantity with its uncertainty: the 10th, 50th and 90th percentile."""

    p10: float | None
    p50: float | None
    p90: float | None
    why: str | None = None


def seconds_of(rfc3339: str) -> float:
    """A time as the answers give it, as Unix seconds."""
    return dt.datetime.fromisoformat(rfc3339).timestamp()


def unknown(why: str) -> Spread:
    """A quantity that cannot be told, with the reason."""
    return Spread(p10=None, p50=None, p90=None, why=why)


@dataclass(frozen=True, slots=True, kw_only=True)
class AirAnswer:
    """The newest air reading of one place."""

    at: str | None  # RFC 3339 UTC of its newest reading
    temperature_c: float | None
    humidity_pct: float | None
    dew_point_c: float | None
    vapour_g_m3: float | None
    age_s: float | None
    stale: bool
    freshness: Freshness
    due_s: float | None
    suspect: str | None = None  # a sentence, when the reading sits at the sensor's rail or the like
    humidity_change_pct: float | None = None  # over the last three hours, None when not covered
    dew_point_change_c: float | None = None
    raw_humidity_pct: float | None = None  # what its sensor said, where that is corrected
    why: str | None = None  # why there is no reading


@dataclass(frozen=True, slots=True, kw_only=True)
class DesiccantAnswer:
    kind: str
    dry_g: float
    loading_pct: Spread
    used: Spread
    water_g: Spread
    spent: bool | None
    days_left: Spread
    spent_why: str | None = None
    filled: str | None = None
    regenerated: bool = False  # came from the oven when it was filled
    tells_by: str | None = None  # "humidity" | "water let in": what the loading is read from
    settled_pct: Spread | None = None  # humidity to which the whole bed would settle at 25 degC
    days_left_season: Spread | None = None  # with the room as it was a year ago; None = no year is stored
    spent_since: str | None = None
    fill_g_30_days: Spread | None = None  # fresh desiccant for so long
    fill_g_90_days: Spread | None = None
    opening_g: float | None = None  # let in by a usual opening
    opening_days: float | None = None  # of the charge's life that it costs
    colour: str | None = None  # what was last said of it, in a sentence
    danger: str | None = None  # of this kind


@dataclass(frozen=True, slots=True, kw_only=True)
class TightnessAnswer:
    air_changes_per_h: Spread
    water_g_per_day: Spread


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnosis:
    cause: str
    probability: float
    advice: str
    evidence: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """Something that the readings say was done and nobody entered."""

    at: str
    kind: str  # "desiccant_changed" | "contents_changed"
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxAnswer:
    key: str
    name: str
    room: str
    air: AirAnswer  # flattened into the box by plain()
    limit_humidity_pct: float | None
    limit_humidity_pct_why: str | None = None
    limit_material: str | None = None
    desiccant: DesiccantAnswer | None
    desiccant_why: str | None = None
    tightness: TightnessAnswer
    lid_openings_7d: int | None
    lid_openings_7d_why: str | None = None
    diagnosis: tuple[Diagnosis, ...] = ()
    spools: tuple[str, ...] = ()
    estimate_at: str | None = None  # up to when readings are in the estimate
    missing: tuple[str, ...] = ()  # sentences: what would have to be known for more
    questions: tuple[Question, ...] = ()
    lid_open_since: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomAnswer:
    key: str
    name: str
    air: AirAnswer


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxPoint:
    """The desiccant at a time, past or to come."""

    at_s: float
    loading_pct: Spread
    humidity_pct: Spread | None = None  # of the air over it; None in the past, which was measured


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxMark:
    """Something that happened to a box."""

    at_s: float
    kind: str  # of an event that was told or noticed
    words: str
    is_told: bool  # by a person; else noticed in the readings
    event_id: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxCourse:
    """A box's desiccant over a window, and where it is heading."""

    past: tuple[BoxPoint, ...]
    ahead: tuple[BoxPoint, ...]
    marks: tuple[BoxMark, ...]
    limit_loading_pct: float | None  # at which the desiccant is spent for what is inside


@dataclass(frozen=True, slots=True, kw_only=True)
class ProfilePoint:
    depth_m: float
    moisture_pct: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StayAnswer:
    """One stay of a spool at a place, and what it did."""

    place: str | None
    is_sealed: bool
    is_hot: bool
    begin: str
    end: str | None  # None: it goes on
    hours: float
    gained_g: float
    equivalent_pct: float | None
    worst_pct: float | None
    unmeasured_h: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SpoolAccount:
    """A spool's exposure account."""

    reset: str | None  # when it was last dried with evidence
    partly_reset: str | None  # when it was last dried without
    dryings: int
    hot_h: float
    assumed_h: float  # nothing was measured round it for so long
    weighing: str | None  # what the last one told
    signs: str | None  # look-alikes that drying will not cure
    stays: tuple[StayAnswer, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SpoolAnswer:
    key: str
    name: str
    material: str
    place: str | None
    moisture_pct: Spread
    outer_pct: Spread
    limit_pct: float | None
    heading_for_pct: float | None
    length_m: float | None
    dry_length_m: Spread
    verdict: str  # "ready" | "dry_first" | "not_sure" | "damaged"
    verdict_why: str | None = None
    use_before: str | None = None
    use_before_why: str | None = None
    exposure_h: float | None = None
    exposure_h_why: str | None = None
    limit_pct_why: str | None = None
    heading_for_pct_why: str | None = None
    length_m_why: str | None = None
    profile: tuple[ProfilePoint, ...] = ()
    looser_limit_pct: float | None = None
    water_g: Spread | None = None
    left_g: float | None = None
    trend: str | None = None  # "run" | "pause" | "recover" | "sealed"; a reset is drying's alone
    trend_why: str | None = None
    reasons: dict[str, str] = field(default_factory=dict)  # member to the sentence behind it
    account: SpoolAccount | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class OvenAnswer:
    key: str
    name: str
    room: str
    at: str | None
    chamber_c: float | None  # the hottest of its sensors
    setpoint_c: float | None
    ceiling_c: float | None
    state: str | None
    cycle: str | None
    left_s: float | None
    water_left_g: Spread
    trip: dict[str, Any] | None
    age_s: float | None
    stale: bool
    freshness: Freshness
    hot: bool | None  # at or above 55 degC; None when not known
    chamber_c_why: str | None = None
    state_why: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmAnswer:
    key: str
    type: str
    place: str
    klass: str  # published as "class"
    state: str
    condition: bool | None
    priority: str
    since: str
    deadline: str | None
    what: str
    why: str
    act: str
    activation: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """Something a person should do, worded; the glance page lists these first."""

    place: str  # inventory key
    level: str  # "now" | "soon" | "check"
    what: str
    act: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HealthAnswer:
    ok: bool
    reasons: tuple[str, ...]  # each a sentence; empty when ok
    broker: str  # "connected" | "away" | "not used"
    broker_kind: str | None  # "own mosquitto" | "trial" | "external"
    newest_reading: str | None
    readings: int
    packs: int
    duplicates: int
    quarantined: int
    unplaced_channels: tuple[str, ...]
    log_head: str | None = None  # where the log of what was done ends, "number:hash"; None = nothing was done
    history_share: float | None = None  # the demo's past being filled in, 0 to 1; None = not a demo


@dataclass(frozen=True, slots=True, kw_only=True)
class StatusAnswer:
    at: str
    site: str
    boxes: tuple[BoxAnswer, ...]
    rooms: tuple[RoomAnswer, ...]
    spools: tuple[SpoolAnswer, ...]
    ovens: tuple[OvenAnswer, ...]
    alarms: tuple[AlarmAnswer, ...]
    needs: tuple[Need, ...]
    health: HealthAnswer


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesPoint:
    """One span of a chart; values are None where no reading covers it."""

    start_s: float
    lowest: float | None
    mean: float | None
    highest: float | None
    covered: float  # share of the span within reach of a reading, 0 to 1


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesAnswer:
    """One quantity of one place, every span of the window in order."""

    place: str
    quantity: str
    unit: str
    span_s: int
    points: tuple[SeriesPoint, ...]


_RENAMED = {"klass": "class"}


def plain(value: Any) -> Any:
    """The answer as dicts, lists and numbers ready for JSON; `air` is flattened into its place."""
    if is_dataclass(value) and not isinstance(value, type):
        return _plain_members(value)
    if isinstance(value, tuple | list):
        return [plain(item) for item in value]
    if isinstance(value, dict):
        return {key: plain(item) for key, item in value.items()}
    return value


def _plain_members(value: Any) -> dict[str, Any]:
    members: dict[str, Any] = {}
    for spec in fields(value):
        item = getattr(value, spec.name)
        if item is None and (spec.name == "why" or spec.name.endswith("_why")):
            continue
        if spec.name == "air":
            members.update(plain(item))
        else:
            members[_RENAMED.get(spec.name, spec.name)] = plain(item)
    return members
