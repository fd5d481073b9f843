"""Records of dryings as they go out: JSON with times in RFC 3339, and the course as CSV (D-10)."""

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from monitor.model.cycle_record import BatchRecord, CycleNote, RecordSpool, TracePoint
from monitor.wire.records import rfc3339

CSV_HEAD = "time,chamber_c,asked_c,humidity_pct,dew_point_c,heater_pct"


def document(record: BatchRecord) -> dict[str, Any]:
    """As JSON: times in RFC 3339."""
    return {
        **_summary(record.note),
        "oven_name": record.oven_name,
        "spools": [_spool_document(spool) for spool in record.spools],
        "coverage": record.coverage,
        "humidity_coverage": record.humidity_coverage,
        "chamber_dew_point_c": record.chamber_dew_point_c,
        "chamber_humidity_pct": record.chamber_humidity_pct,
        "persons": list(record.persons),
        "trace": [_point(point) for point in record.trace],
        "room_dew_points": [
            {"at": rfc3339(at_s), "dew_point_c": value} for at_s, value in record.room_dew_points
        ],
        "records": [
            {"at": rfc3339(e.at_wall_s), "kind": str(e.kind), "what": e.what, "rule": e.rule, "who": e.who}
            for e in record.records
        ],
    }


def summaries(notes: Sequence[CycleNote]) -> list[dict[str, Any]]:
    """A list of cycles as JSON."""
    return [_summary(note) for note in notes]


def csv(record: BatchRecord) -> str:
    """The trace, a line a minute; numbers and times only."""
    body = [
        ",".join(
            (
                rfc3339(point.at_s),
                f"{point.chamber_c:.2f}",
                f"{point.asked_c:.2f}",
                "" if point.humidity_pct is None else f"{point.humidity_pct:.2f}",
                "" if point.dew_point_c is None else f"{point.dew_point_c:.2f}",
                f"{100.0 * point.heater:.0f}",
            )
        )
        for point in record.trace
    ]
    return "\r\n".join([CSV_HEAD, *body, ""])


def _summary(note: CycleNote) -> dict[str, Any]:
    members = asdict(note)
    started_s, ended_s = members.pop("started_s"), members.pop("ended_s")
    return members | {
        "started": rfc3339(started_s),
        "ended": None if ended_s is None else rfc3339(ended_s),
    }


def _spool_document(spool: RecordSpool) -> dict[str, Any]:
    members = asdict(spool)
    return {**members.pop("told"), **members}


def _point(point: TracePoint) -> dict[str, Any]:
    members = asdict(point)
    return {"at": rfc3339(members.pop("at_s")), **members}
