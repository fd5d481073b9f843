"""The answers about sensors: how well each is known, where its check stands, what rested on it."""

from dataclasses import dataclass
from enum import StrEnum

from monitor.model.sensor_check import Corner, Verdict


class Due(StrEnum):
    NEVER = "never"  # checked
    GOOD = "good"
    SOON = "soon"  # within 30 days
    OVERDUE = "overdue"


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckAnswer:
    """The newest check of a sensor."""

    at: str
    verdict: Verdict
    error_pct: float  # the largest as-found error of its points [%RH]
    uncertainty_pct: float  # of that, 95 %
    salts: tuple[str, ...]
    is_corrected_since: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectionAnswer:
    since: str
    offset_pct: float
    gain: float
    uncertainty_pct: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorAnswer:
    """One humidity sensor."""

    channel: str
    place: str | None
    place_name: str | None
    at: str | None  # of its newest humidity
    raw_pct: float | None
    shown_pct: float | None
    serial: str | None
    installed: str | None
    tolerance_pct: float
    interval_months: int
    away_since: str | None  # in a jar since
    correction: CorrectionAnswer | None
    check: CheckAnswer | None
    due: str | None
    due_state: Due
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SaltAnswer:
    """A salt for a check at some temperature."""

    key: str
    name: str
    formula: str
    humidity_pct: float
    uncertainty_pct: float
    handling: tuple[str, ...]
    source: str
    tells: str  # how much a check over it tells where the sensor works


@dataclass(frozen=True, slots=True, kw_only=True)
class PointAnswer:
    """A check point of the present round, as found and, with the correction proposed, as left."""

    event_id: int
    salt: str
    at: str
    temperature_c: float
    reading_pct: float
    reference_pct: float
    uncertainty_pct: float
    error_pct: float
    as_left_pct: float
    verdict: Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class JarAnswer:
    """How far a sensor in a jar has settled."""

    salt: str
    since: str
    settling: str  # waiting | reached | never
    sentence: str
    humidity_pct: float | None
    temperature_c: float | None
    reference_pct: float | None
    uncertainty_pct: float | None
    rate_pct_per_h: float | None
    remaining_pct: float | None
    wait_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ProposalAnswer:
    """What the points of the present round ask for."""

    verdict: Verdict
    sentence: str
    checks: tuple[int, ...]
    offset_pct: float
    gain: float
    left_uncertainty_pct: float
    is_mendable: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class GuideAnswer:
    """Where the check of a sensor stands."""

    sensor: SensorAnswer
    works_at_pct: float  # humidity where it usually is
    temperature_c: float  # of the salts offered
    salts: tuple[SaltAnswer, ...]  # the fitting pair first
    jar: JarAnswer | None
    points: tuple[PointAnswer, ...]
    proposal: ProposalAnswer | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LookBackItem:
    place: str
    place_name: str
    begin: str
    end: str
    spools: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LookBack:
    """What rested on a sensor that was found to be off (A-34)."""

    error_pct: float
    since: str
    since_is_checked: bool  # False: it was never known to be right
    until: str
    items: tuple[LookBackItem, ...]
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BesideAnswer:
    channel: str
    name: str
    humidity_pct: float
    others_pct: float
    difference_pct: float
    allowed_pct: float
    is_odd: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SideBySideAnswer:
    """Several sensors in the same air."""

    begin: str
    end: str
    temperature_c: float | None
    sensors: tuple[BesideAnswer, ...]
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenLid:
    """A lid that was left open: for that time box and room were nearly one air."""

    name: str  # of the box
    channels: tuple[str, str]  # of the box, of its room
    begin: str
    until: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacementAnswer:
    """How the air differs from corner to corner of a box."""

    spots: tuple[Corner, ...]  # the dampest first
    spread_pct: float
    sentence: str
