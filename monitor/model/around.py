"""What the rules of alarms need to know beyond the status of all places. None = cannot be told now."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from monitor.model.sensor_check import Seat


@dataclass(frozen=True, slots=True, kw_only=True)
class OvenWatch:
    """One oven as the supervision sees it; ages in seconds."""

    has_permit: bool | None
    is_cooling: bool = False  # within the lag after a permit, in which it may still be warm
    chamber_c: float | None = None
    rising_c_per_min: float | None = None
    power_w: float | None = None
    state_age_s: float | None = None  # None = never heard
    was_hot_or_heating: bool | None = None  # when it was last heard
    trip: str | None = None  # its sentence
    proof_due_s: float | None = None  # Unix s; None = no test is on record
    is_left_alone: bool = True  # somebody went through the checklist for leaving it alone


@dataclass(frozen=True, slots=True, kw_only=True)
class Around:
    """As of one moment; troubles are sentences, "" where there is none and None where nobody can tell."""

    broker_away_s: float | None = None  # 0 = connected
    database_trouble: str | None = None
    supervision_trouble: str | None = None
    clock_trouble: str | None = None
    delivery_trouble: str | None = None
    chain_trouble: str | None = None
    disk_free_bytes: int | None = None
    disk_total_bytes: int | None = None
    ovens: Mapping[str, OvenWatch] = field(default_factory=dict)  # by key
    smoke: Mapping[str, bool | None] = field(default_factory=dict)  # by room that has a detector
    check_due_s: Mapping[str, float | None] = field(default_factory=dict)  # Unix s, by place with a sensor
    battery_pct: Mapping[str, float | None] = field(default_factory=dict)  # by place with a battery
    node_offline: Mapping[str, bool | None] = field(default_factory=dict)  # by place that the node serves
    seats: Mapping[str, Seat] = field(default_factory=dict)  # by place whose corners were looked at
    test_owed_s: Mapping[str, float] = field(
        default_factory=dict
    )  # Unix s since when, by name of who owes one
