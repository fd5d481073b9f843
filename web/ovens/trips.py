"""A trip as it was recorded: rules in their order, ten minutes on either side as a picture and a table."""

from collections.abc import Iterable
from dataclasses import dataclass

from monitor.model.cycle import FirstOut, OvenRecord, RecordKind, TraceSample
from web.axes import Tick, marks_up, share
from web.timeframe import Frame, line, stretches

_SPAN_S = 600.0
_GAP_S = 30.0  # a longer silence is a gap of the line
_LEAST_TOP_C = 40.0
_ROWS_APART_S = 30.0
_MARKS_S = (-600.0, -300.0, 0.0, 300.0, 600.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """Positions in percent of the picture, lines in its inner square."""

    chambers: tuple[tuple[str, ...], ...]  # of each sensor the stretches without a gap
    heater: tuple[str, ...]
    trip_x: str
    up: tuple[Tick, ...]
    across: tuple[Tick, ...]
    sentence: str


def figure(record: FirstOut) -> Figure | None:
    """None where nothing was heard of the oven round the trip."""
    if not record.trace:
        return None
    sensors = max(len(each.chamber_c) for each in record.trace)
    columns = [[_chamber_c(each, number) for each in record.trace] for number in range(sensors)]
    known = [value for column in columns for value in column if value is not None]
    top = max([_LEAST_TOP_C, *(1.1 * value for value in known)])
    frame = Frame(from_s=-_SPAN_S, to_s=_SPAN_S, top=top)
    duty = Frame(from_s=-_SPAN_S, to_s=_SPAN_S, top=1.0)
    times = [each.after_ms / 1000.0 for each in record.trace]
    return Figure(
        chambers=tuple(_lines(frame, times, column) for column in columns),
        heater=_lines(duty, times, [each.heater for each in record.trace]),
        trip_x=share(frame.x(0.0)),
        up=marks_up(top, "°C"),
        across=tuple(_mark(frame, at_s) for at_s in _MARKS_S),
        sentence=_sentence(record, known),
    )


def fired(record: FirstOut) -> tuple[tuple[str, str, str], ...]:
    """(rule, what, when) in the order in which they fired; the first is the cause."""
    return tuple(
        (each.rule, each.what, "first" if number == 0 else f"{each.after_ms} ms later")
        for number, each in enumerate(record.fired)
    )


def rows(record: FirstOut) -> tuple[tuple[str, ...], ...]:
    """One in half a minute, and each within ten seconds of the trip: after, sensors, heater, power, fan."""
    shown: list[tuple[str, ...]] = []
    last_s = float("-inf")
    for each in record.trace:
        after_s = each.after_ms / 1000.0
        if after_s - last_s < _ROWS_APART_S and abs(after_s) > 10.0:
            continue
        last_s = after_s
        chambers = ", ".join("–" if value is None else f"{value:.1f}" for value in each.chamber_c)
        power = "–" if each.power_w is None else f"{each.power_w:.0f}"
        fan = "on" if each.fan else "off"
        shown.append((f"{after_s:+.0f} s", chambers, f"{100.0 * each.heater:.0f} %", power, fan))
    return tuple(shown)


def trip_of(record: OvenRecord, trips: Iterable[str]) -> str | None:
    """The trip that a line of the book tells of: its name begins with its second."""
    if record.kind is not RecordKind.TRIPPED:
        return None
    begin = f"t{int(record.at_wall_s):x}-"
    return next((trip for trip in trips if trip.startswith(begin)), None)


def _chamber_c(sample: TraceSample, number: int) -> float | None:
    return sample.chamber_c[number] if number < len(sample.chamber_c) else None


def _lines(frame: Frame, times: list[float], values: list[float | None]) -> tuple[str, ...]:
    """Broken where nothing was measured, and where nothing was heard."""
    drawn = []
    for stretch in stretches(values):
        part: list[tuple[float, float]] = []
        for number in stretch:
            value = values[number]
            assert value is not None
            if part and times[number] - part[-1][0] > _GAP_S:
                drawn.append(line(frame, part))
                part = []
            part.append((times[number], value))
        drawn.append(line(frame, part))
    return tuple(drawn)


def _mark(frame: Frame, at_s: float) -> Tick:
    x = frame.x(at_s)
    anchor = "start" if x < 0.03 else "end" if x > 0.97 else "middle"
    return Tick(at=share(x), words="trip" if at_s == 0.0 else f"{at_s / 60.0:+.0f} min", anchor=anchor)


def _sentence(record: FirstOut, known: list[float]) -> str:
    hottest = f"The chamber's highest was {max(known):.1f} °C." if known else "No sensor gave a temperature."
    heated = [each for each in record.trace if each.after_ms >= 0 and each.heater > 0.0]
    last_s = heated[-1].after_ms / 1000.0 if heated else None
    after = (
        "No heat was seen from the trip on."
        if last_s is None
        else f"Heat was last seen {last_s:.0f} s after."
    )
    return f"{hottest} {after}"
