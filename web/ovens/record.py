"""The record of a drying in finished words: a sheet to print and its pictures (D-10)."""

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.library import Library
from monitor.model.cycle_record import (
    BatchRecord,
    CycleNote,
    HeldWater,
    Percent,
    RecordSpool,
    Scaled,
)
from web.axes import Tick, hours_across, share
from web.inside import content
from web.ovens.words import lasting
from web.present import Presenter
from web.spools.words import short_name
from web.timeframe import Frame, line

_ENDINGS = {
    "time_up": "Ran its time",
    "dry": "Ended because it was dry",
    "stopped": "Stopped",
    "stopped_by_rule": "Ended by a safety rule",
    "link_lost": "Interrupted: the connection was lost",
    "restarted": "Interrupted: something restarted, or the power was away",
    "tripped": "Ended by a trip",
    "unknown": "Its end was not seen",
}
_VERDICTS = {
    "reset": "✓ Reset",
    "partly_reset": "◐ Partially reset",
    "runs": "… Runs",
    "unknown": "? Not known",
}
_MOST_DRAWN = 400
_GAP_S = 600.0
Pair = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    kind: str  # its dashes and colour
    name: str
    pieces: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """One picture over the time of the cycle."""

    title: str
    sentence: str
    lines: tuple[Line, ...]
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SpoolSheet:
    key: str
    name: str
    material: str
    verdict: str
    verdict_why: str
    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """The page."""

    oven: str
    headline: str
    why: str
    facts: tuple[tuple[str, str], ...]
    spools: tuple[SpoolSheet, ...]
    pictures: tuple[Drawn, ...]
    interruptions: tuple[tuple[str, str], ...]
    book: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One cycle in a list."""

    oven: str
    cycle: str
    when: str
    what: str
    ending: str
    water: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Count:
    """D-06: how often and for how long."""

    words: str


def sheet(record: BatchRecord, library: Library, present: Presenter) -> Sheet:
    """All of it, in words."""
    note = record.note
    return Sheet(
        oven=record.oven_name,
        headline=_headline(note),
        why=note.why,
        facts=_facts(record, present),
        spools=tuple(_spool(spool, library) for spool in record.spools),
        pictures=_pictures(record),
        interruptions=tuple((present.clock(each.at_wall_s), each.what) for each in record.interruptions),
        book=tuple(
            (", ".join(filter(None, (present.clock(each.at_wall_s), each.rule, each.who))), each.what)
            for each in record.records
        ),
    )


def rows(notes: Sequence[CycleNote], present: Presenter) -> tuple[Row, ...]:
    """A list of cycles, in the order given."""
    return tuple(
        Row(
            oven=note.oven,
            cycle=note.cycle,
            when=present.clock(note.started_s, "%d %b %Y %H:%M"),
            what=", ".join(spool.name for spool in note.spools) or "nothing named",
            ending=_headline(note),
            water=_lost(note),
        )
        for note in notes
    )


def count(notes: Sequence[CycleNote]) -> Count:
    """Dryings and hours of them; those that run are not counted yet."""
    over = [note for note in notes if note.ran_s is not None]
    hours = sum(note.ran_s or 0.0 for note in over) / 3600.0
    if not over:
        return Count(words="No cycle has ended yet.")
    many = "1 cycle" if len(over) == 1 else f"{len(over)} cycles"
    return Count(words=f"{many}, {hours:.1f} h in all. Heat ages a material each time.")


def _headline(note: CycleNote) -> str:
    if note.ended_s is None:
        return f"Runs: {lasting(note.duration_s)} at {note.setpoint_c:g} °C"
    said = _ENDINGS.get(note.ending, note.ending)
    ran = "a time not known" if note.ran_s is None else lasting(note.ran_s)
    return f"{said}: {ran} of {lasting(note.duration_s)}"


def _facts(record: BatchRecord, present: Presenter) -> tuple[tuple[str, str], ...]:
    note = record.note
    asked = f"{note.setpoint_c:g} °C for {lasting(note.duration_s)}"
    if note.last_setpoint_c is not None and note.last_setpoint_c != note.setpoint_c:
        asked += f", {note.last_setpoint_c:g} °C at the end"
    hottest = max((point.chamber_c for point in record.trace), default=None)
    facts = [
        ("Started", f"{present.clock(note.started_s, '%d %b %Y %H:%M')} by {note.who}"),
        ("Ended", "–" if note.ended_s is None else present.clock(note.ended_s, "%d %b %Y %H:%M")),
        ("Persons", ", ".join(record.persons)),
        ("Mode", _mode(note)),
        ("Asked", asked),
        ("Reached", "not known" if hottest is None else f"{hottest:.1f} °C at the most, mean of the sensors"),
        ("Limit", f"{note.limit_c:g} °C, by {note.limited_by}. Heat was cut at {note.ceiling_c:g} °C"),
        ("Measured", _measured(record)),
        ("Chamber, last half hour", _air(record.chamber_humidity_pct, record.chamber_dew_point_c)),
        ("Room at the start", _room(note)),
        ("Energy of the heater", "not measured" if note.energy_wh is None else f"{note.energy_wh:.0f} Wh"),
    ]
    if note.holds or note.overshoots:
        facts.append(("Holds, overshoots", f"{note.holds}, {note.overshoots}"))
    return tuple(facts)


def _mode(note: CycleNote) -> str:
    mode = "unattended" if note.is_unattended else "somebody stayed with it"
    return mode if note.is_armed_locally else f"{mode}, not locally armed"


def _measured(record: BatchRecord) -> str:
    if record.coverage is None:
        return "nothing yet"
    humid = record.humidity_coverage or 0.0
    said = f"{100.0 * record.coverage:.0f} % of its time"
    return said if humid >= record.coverage else f"{said}, humidity {100.0 * humid:.0f} %"


def _air(humidity_pct: float | None, dew_point_c: float | None) -> str:
    if humidity_pct is None:
        return "humidity not measured"
    dew = "" if dew_point_c is None else f", dew point {dew_point_c:.1f} °C".replace("-", "−")
    return f"{humidity_pct:.1f} %RH{dew}"


def _room(note: CycleNote) -> str:
    if note.room_c is None:
        return "not measured"
    dew = (
        ""
        if note.room_dew_point_c is None
        else f", dew point {note.room_dew_point_c:.1f} °C".replace("-", "−")
    )
    return f"{note.room_c:.1f} °C{dew}"


def _spool(spool: RecordSpool, library: Library) -> SpoolSheet:
    told = spool.told
    limits = [
        f"{name} {value:g} °C"
        for name, value in (("material", told.material_limit_c), ("reel", told.body_limit_c))
        if value is not None
    ]
    made = [
        ("Water before", _water(told.before)),
        ("Water after", _water(told.after)),
        ("Outer windings after", "not known" if told.after is None else _span(told.after.outer_pct, "%")),
        ("Printing limit", "not known" if told.limit_pct is None else f"{content(told.limit_pct)} %"),
        ("Scale before", _scale(spool.weighed_before)),
        ("Scale after", _scale(spool.weighed_after)),
        ("Lost by the scale", _loss(spool)),
        ("Stands", ", ".join(limits) or "not known: the weakest was taken"),
    ]
    return SpoolSheet(
        key=told.key,
        name=told.name,
        material=short_name(library, told.material) if told.material else "no spool",
        verdict=_VERDICTS[spool.verdict],
        verdict_why=spool.verdict_why,
        rows=tuple(made),
    )


def _water(held: HeldWater | None) -> str:
    if held is None:
        return "not known"
    low, middle, high = held.water_g
    return f"{_span(held.mean_pct, '%')}, {middle:.2g} g ({low:.2g} to {high:.2g} g)"


def _span(values: Percent, unit: str) -> str:
    low, middle, high = (content(value) for value in values)
    return f"{middle} {unit} ({low} to {high} {unit})"


def _scale(scaled: Scaled | None) -> str:
    if scaled is None:
        return "not weighed"
    warm = ", still warm" if scaled.is_warm else ""
    return f"{scaled.mass_g:g} g in steps of {scaled.resolution_g:g} g{warm}"


def _loss(spool: RecordSpool) -> str:
    if spool.lost_g is None or spool.lost_sd_g is None:
        return "not told: weigh within a day before and after, cold"
    return f"{spool.lost_g:g} g, give or take {2.0 * spool.lost_sd_g:.1g} g by its step"


def _lost(note: CycleNote) -> str:
    """Water gone by the estimate, where both ends are known."""
    gone = [
        spool.before.water_g[1] - spool.after.water_g[1]
        for spool in note.spools
        if spool.before is not None and spool.after is not None
    ]
    return f"{sum(gone):.2g} g of water" if gone else "water not known"


def _pictures(record: BatchRecord) -> tuple[Drawn, ...]:
    trace = record.trace
    if len(trace) < 2:
        return ()
    chamber = [(point.at_s, point.chamber_c) for point in trace]
    asked = [(point.at_s, point.asked_c) for point in trace]
    hottest = max(value for _, value in chamber)
    warmth = _drawn(
        "Temperature",
        f"Asked {record.note.setpoint_c:g} °C; the chamber reached {hottest:.1f} °C.",
        (("here", "chamber", chamber), ("room", "asked", asked)),
    )
    dew = [(point.at_s, point.dew_point_c) for point in trace if point.dew_point_c is not None]
    if len(dew) < 2:
        return (warmth,)
    said = f"The chamber's dew point went from {dew[0][1]:.1f} to {dew[-1][1]:.1f} °C.".replace("-", "−")
    room = list(record.room_dew_points)
    return warmth, _drawn("Dew point", said, (("dew", "chamber", dew), ("room", "room", room)))


def _drawn(title: str, sentence: str, wanted: Sequence[tuple[str, str, Sequence[Pair]]]) -> Drawn:
    told = [pair for _, _, pairs in wanted for pair in pairs]
    values = [value for _, value in told]
    times = [at_s for at_s, _ in told]
    low, high = min(values), max(values)
    slack = max(0.08 * (high - low), 1.0)
    frame = Frame(
        from_s=min(times), to_s=max(max(times), min(times) + 60.0), bottom=low - slack, top=high + slack
    )
    return Drawn(
        title=title,
        sentence=sentence,
        lines=tuple(
            Line(kind=kind, name=name, pieces=tuple(line(frame, piece) for piece in _pieces(pairs)))
            for kind, name, pairs in wanted
            if pairs
        ),
        across=_across(frame.to_s - frame.from_s),
        up=_up(frame),
    )


def _pieces(pairs: Sequence[Pair]) -> list[list[Pair]]:
    """Nothing is drawn over a gap; a long course is thinned."""
    every = max(1, len(pairs) // _MOST_DRAWN)
    pieces: list[list[Pair]] = []
    for pair in pairs[::every]:
        if pieces and pair[0] - pieces[-1][-1][0] <= _GAP_S:
            pieces[-1].append(pair)
        else:
            pieces.append([pair])
    return pieces


def _across(length_s: float) -> tuple[Tick, ...]:
    hours = length_s / 3600.0
    step = next((step for step in (0.25, 0.5, 1.0, 2.0, 4.0, 8.0) if hours / step <= 6.0), 12.0)
    return hours_across(hours, step)


def _up(frame: Frame) -> tuple[Tick, ...]:
    span = frame.top - frame.bottom
    step = next(step for step in (1, 2, 5, 10, 20, 50, 100) if span / step <= 5.0)
    first = -(-int(frame.bottom) // step) * step
    return tuple(
        Tick(at=share(frame.y(value)), words=f"{value} °C".replace("-", "−"), anchor="start")
        for value in range(first, int(frame.top) + 1, step)
        if 0.1 < frame.y(value) < 0.97
    )
