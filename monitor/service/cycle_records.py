"""The record of a drying, put together from what was written while it ran (D-10)."""

from collections.abc import Sequence

from monitor.errors import BadInputError
from monitor.model.cycle import Ending, OvenRecord, RecordKind
from monitor.model.cycle_record import BatchRecord, CycleNote, CycleSpool, RecordSpool, Scaled, TracePoint
from monitor.model.oven_air import OvenAir
from monitor.model.records import effective
from monitor.model.spool_event import SpoolEvent, Used, Weighed
from monitor.ports import ReadStore
from monitor.service.air import dew_point_of, rfc3339
from monitor.service.queries import Queries
from monitor.service.series_points import DEW_POINT

FULL_COVER = 0.95  # D-04
_DAY_S = 86_400.0
_LAST_S = 1800.0
_STEP_S = 300
# A step of a scale is known to within itself, evenly: its standard deviation.
_STEP_SD = 12.0**-0.5
_INTERRUPTS = {RecordKind.HELD, RecordKind.TRIPPED, RecordKind.STOP_ASKED, RecordKind.CLOCK_STEP}
_WHOLE = {str(Ending.TIME_UP), str(Ending.DRY)}
MOST_SHOWN = 500


class CycleRecords:
    """Questions about cycles that were; safe from any thread."""

    def __init__(self, store: ReadStore, queries: Queries) -> None:
        self._store = store
        self._queries = queries

    def of_oven(self, oven: str) -> tuple[CycleNote, ...]:
        """The newest first."""
        return self._store.oven_cycles(oven, MOST_SHOWN)

    def of_spool(self, spool: str) -> tuple[CycleNote, ...]:
        """Cycles of any oven with this spool in the load, the newest first."""
        notes = self._store.oven_cycles(None, 2 * MOST_SHOWN)
        return tuple(note for note in notes if any(each.key == spool for each in note.spools))

    def record(self, oven: str, cycle: str) -> BatchRecord | None:
        """One cycle, whole; None where there is no such one."""
        note = self._store.oven_cycle(oven, cycle)
        if note is None:
            return None
        end_s = self._queries.now_s() if note.ended_s is None else note.ended_s
        window = (round(1000.0 * note.started_s), round(1000.0 * end_s))
        rows = self._store.oven_air(oven, *window)
        records = self._store.cycle_records(oven, cycle)
        coverage = _coverage(rows, note.started_s, end_s, needs_humidity=False)
        humid = _coverage(rows, note.started_s, end_s, needs_humidity=True)
        trace = _trace(rows, note, records)
        last = [point for point in trace if point.at_s >= end_s - _LAST_S]
        entry = self._queries.inventory().ovens.get(oven)
        return BatchRecord(
            note=note,
            oven_name=oven if entry is None else entry.name,
            spools=tuple(self._spool(spool, note, end_s, (coverage, humid)) for spool in note.spools),
            coverage=coverage,
            humidity_coverage=humid,
            chamber_dew_point_c=_mean([p.dew_point_c for p in last]),
            chamber_humidity_pct=_mean([p.humidity_pct for p in last]),
            trace=trace,
            room_dew_points=self._room(None if entry is None else entry.room, note.started_s, end_s),
            records=records,
            persons=tuple(dict.fromkeys([note.who, *(line.who for line in records if line.who)])),
            interruptions=tuple(line for line in records if line.kind in _INTERRUPTS),
        )

    def _room(self, room: str | None, from_s: float, to_s: float) -> tuple[tuple[float, float], ...]:
        if room is None or to_s <= from_s:
            return ()
        try:
            series = self._queries.series(room, DEW_POINT, from_s, to_s, _STEP_S)
        except BadInputError:
            return ()  # the room has no sensor, or it ran for longer than is asked at once
        return tuple(
            (point.start_s + 0.5 * _STEP_S, point.mean) for point in series.points if point.mean is not None
        )

    def _spool(
        self, told: CycleSpool, note: CycleNote, end_s: float, cover: tuple[float | None, float | None]
    ) -> RecordSpool:
        history = self._queries.spool_history(told.key)
        events = () if history is None else effective(history.events)
        before, after = weighings(events, note.started_s, end_s, is_over=note.ended_s is not None)
        lost_g = sd_g = None
        if before is not None and after is not None and not after.is_warm and not before.is_warm:
            lost_g = round(before.mass_g - after.mass_g, 3)
            sd_g = round(_STEP_SD * (before.resolution_g**2 + after.resolution_g**2) ** 0.5, 3)
        verdict, why = judged(told, note, *cover)
        return RecordSpool(
            told=told, weighed_before=before, weighed_after=after, lost_g=lost_g, lost_sd_g=sd_g,
            verdict=verdict, verdict_why=why,
        )  # fmt: skip


def judged(
    told: CycleSpool, note: CycleNote, coverage: float | None, humidity_coverage: float | None
) -> tuple[str, str]:
    """D-04: a reset needs a cycle that ran as confirmed, measured through, and left it under its limit."""
    if note.ended_s is None:
        return "runs", "It runs."
    if told.after is None or told.limit_pct is None:
        return "unknown", "What it held at the end is not known."
    missing = []
    if note.ending not in _WHOLE:
        missing.append("the cycle did not run as it was confirmed")
    if coverage is None or coverage < FULL_COVER:
        missing.append(f"{100.0 * (coverage or 0.0):.0f} % of its time was measured, 95 % are needed")
    elif humidity_coverage is None or humidity_coverage < FULL_COVER:
        missing.append("the chamber's humidity was not measured through and was taken from the room's")
    if told.after.mean_pct[1] > told.limit_pct:
        missing.append(f"it is not under its limit of {told.limit_pct:.2g} %")
    if missing:
        why = "; ".join(missing)
        return "partly_reset", f"{why[:1].upper()}{why[1:]}."
    return "reset", "It ran as confirmed, was measured through, and is under its limit at the end."


def weighings(
    events: Sequence[SpoolEvent], start_s: float, end_s: float, *, is_over: bool
) -> tuple[Scaled | None, Scaled | None]:
    """The last weighing before and the first one after; none where it was printed from in between."""
    ordered = sorted(events, key=lambda event: (event.at_s, event.event_id))
    before = after = None
    for event in ordered:
        if isinstance(event.what, Used) and start_s - _DAY_S <= event.at_s:
            if event.at_s <= start_s:
                before = None
            elif after is None:
                break
        elif isinstance(event.what, Weighed):
            if start_s - _DAY_S <= event.at_s <= start_s:
                before = _scaled(event.at_s, event.what)
            elif is_over and end_s <= event.at_s <= end_s + _DAY_S and after is None:
                after = _scaled(event.at_s, event.what)
    return before, after


def _scaled(at_s: float, what: Weighed) -> Scaled:
    return Scaled(at=rfc3339(at_s), mass_g=what.mass_g, resolution_g=what.resolution_g, is_warm=what.is_warm)


def _coverage(rows: Sequence[OvenAir], from_s: float, to_s: float, *, needs_humidity: bool) -> float | None:
    """Share of its minutes that have a row."""
    minutes = (to_s - from_s) / 60.0
    if minutes < 1.0:
        return None
    told = sum(1 for row in rows if not needs_humidity or row.humidity_pct is not None)
    return round(min(told / int(minutes), 1.0), 3)


def _trace(rows: Sequence[OvenAir], note: CycleNote, records: Sequence[OvenRecord]) -> tuple[TracePoint, ...]:
    lowered_s = next((line.at_wall_s for line in records if line.kind is RecordKind.LOWERED), None)
    held_c = note.setpoint_c if note.last_setpoint_c is None else note.last_setpoint_c
    return tuple(
        TracePoint(
            at_s=row.at_s,
            chamber_c=row.temperature_c,
            asked_c=held_c if lowered_s is not None and row.at_s >= lowered_s else note.setpoint_c,
            humidity_pct=row.humidity_pct,
            dew_point_c=None
            if row.humidity_pct is None
            else dew_point_of(row.temperature_c, row.humidity_pct),
            heater=row.heater,
        )
        for row in rows
    )


def _mean(values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return round(sum(known) / len(known), 2) if known else None
