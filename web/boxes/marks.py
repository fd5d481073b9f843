"""What happened to a box, over its pictures as letters and under them in words."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from monitor.model.answers import BoxMark
from web.axes import Tick
from web.inside import sentence
from web.present import Presenter
from web.timeframe import Frame, letters

# By the kind of an event that was told or noticed; empty = told in the list alone.
_LETTERS: Mapping[str, str] = {
    "recharged": "C",
    "weighed": "W",
    "colour": "B",
    "moved": "M",
    "lid_opened": "O",
    "lid_left_open": "L",
    "sensor_stepped": "J",
    "desiccant_changed": "?",
    "contents_changed": "?",
    "lid_shut": "",
    "outlier": "",
    "nothing_done": "",
}
_OTHER = "•"
_MEANINGS: Mapping[str, str] = {
    "C": "desiccant changed",
    "W": "desiccant weighed",
    "B": "colour of the beads",
    "M": "spool moved",
    "O": "lid opened",
    "L": "lid left open",
    "J": "the sensor jumped",
    "?": "changed, and nobody entered it",
    _OTHER: "something else",
}
_ROWS = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """Letters over a picture, what they mean, and the same as a list, the newest first."""

    ticks: tuple[Tick, ...]
    meanings: tuple[tuple[str, str], ...]
    rows: tuple[tuple[str, str, str], ...]  # when, what, from where it is known
    left_out: int


def over(marks: Sequence[BoxMark], frame: Frame, present: Presenter) -> Marks:
    """The marks of a picture's window."""
    inside = sorted(_within(marks, frame), key=lambda mark: -mark.at_s)
    ticks = letters([(mark.at_s, letter) for mark in inside if (letter := _letter(mark))], frame)
    return Marks(
        ticks=ticks,
        meanings=tuple((k, w) for k, w in _MEANINGS.items() if any(k in tick.words for tick in ticks)),
        rows=tuple(
            (
                present.clock(mark.at_s),
                sentence(mark.words).removesuffix("."),
                "entered" if mark.is_told else "seen in the readings",
            )
            for mark in inside[:_ROWS]
        ),
        left_out=max(len(inside) - _ROWS, 0),
    )


def _within(marks: Iterable[BoxMark], frame: Frame) -> list[BoxMark]:
    return [mark for mark in marks if frame.from_s <= mark.at_s <= frame.to_s]


def _letter(mark: BoxMark) -> str:
    return _LETTERS.get(mark.kind, _OTHER)
