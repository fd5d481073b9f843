"""What is told of a sensor as JSON: strict about every name, kind and type."""

import datetime as dt

import msgspec

from monitor.errors import BadInputError
from monitor.model.records import Withdrawn
from monitor.model.sensor_check import (
    INTERVAL_MONTHS,
    TOLERANCE_PCT,
    Back,
    CheckNow,
    CompareNow,
    CorrectBy,
    CorrectionSet,
    InJar,
    Installed,
    MapNow,
    Seated,
    SensorTold,
    SensorWish,
    Stay,
)
from monitor.wire.records import RecordBody, decoded, unix_s


class _Installed(RecordBody, frozen=True, tag="installed"):
    serial: str
    tolerance_pct: float = TOLERANCE_PCT
    interval_months: int = INTERVAL_MONTHS

    def wish(self) -> SensorWish:
        return Installed(
            serial=self.serial, tolerance_pct=self.tolerance_pct, interval_months=self.interval_months
        )


class _InJar(RecordBody, frozen=True, tag="in_jar"):
    salt: str

    def wish(self) -> SensorWish:
        return InJar(salt=self.salt)


class _Back(RecordBody, frozen=True, tag="back"):
    def wish(self) -> SensorWish:
        return Back()


class _Checked(RecordBody, frozen=True, tag="checked"):
    def wish(self) -> SensorWish:
        return CheckNow()


class _Compared(RecordBody, frozen=True, tag="compared"):
    others: list[str]
    hours: float = 1.0

    def wish(self) -> SensorWish:
        return CompareNow(others=tuple(self.others), hours=self.hours)


class _CorrectionSet(RecordBody, frozen=True, tag="correction_set"):
    """By checks, from which offset and gain follow, or by both figures."""

    checks: list[int] = []
    offset_pct: float | None = None
    gain: float | None = None
    uncertainty_pct: float | None = None

    def wish(self) -> SensorWish:
        figures = (self.offset_pct, self.gain)
        if self.checks and figures == (None, None) and self.uncertainty_pct is None:
            return CorrectBy(checks=tuple(self.checks))
        if self.checks or self.offset_pct is None or self.gain is None:
            raise BadInputError("correction_set names either checks, or both offset_pct and gain")
        return CorrectionSet(offset_pct=self.offset_pct, gain=self.gain, uncertainty_pct=self.uncertainty_pct)


class _Corner(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    name: str
    begin: dt.datetime
    end: dt.datetime


class _Mapped(RecordBody, frozen=True, tag="mapped"):
    corners: list[_Corner]
    beside: str | None = None
    sits_at: str | None = None

    def wish(self) -> SensorWish:
        stays = tuple(
            Stay(name=each.name, from_s=unix_s(each.begin), to_s=unix_s(each.end)) for each in self.corners
        )
        return MapNow(stays=stays, beside=self.beside, sits_at=self.sits_at)


class _Seated(RecordBody, frozen=True, tag="seated"):
    sits_at: str

    def wish(self) -> SensorWish:
        return Seated(sits_at=self.sits_at)


class _Withdrawn(RecordBody, frozen=True, tag="withdrawn"):
    why: str

    def wish(self) -> SensorWish:
        return Withdrawn(why=self.why)


_Any = _Installed | _InJar | _Back | _Checked | _Compared | _CorrectionSet | _Mapped | _Seated | _Withdrawn


def parse_sensor_told(channel: str, content: bytes, now_s: float, who: str | None = None) -> SensorTold:
    """What a JSON document tells; BadInputError names the member. A time without zone is UTC.

    Args:
        who: Whoever is signed in; None: the document must say it.
    """
    told: _Any = decoded(content, _Any)
    return SensorTold(
        channel=channel,
        at_s=told.at_s(now_s),
        who=told.told_by(who),
        wish=told.wish(),
        replaces=told.replaces,
    )
