"""The two small forms of a room's page: outside air, and a drier room."""

from collections.abc import Mapping
from dataclasses import dataclass

from monitor.errors import FieldError
from monitor.model.room_air import RoomWish
from web.fields import fault_in_words, given, number

OUTSIDE = ("outside-temperature", "outside-rh")
TARGET = ("target-rh", "target-hours")
LABELS = {
    "outside-temperature": "Temperature outside",
    "outside-rh": "Humidity outside",
    "target-rh": "Humidity to hold",
    "target-hours": "Hours a day",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """What was entered, and what is wrong with it."""

    values: Mapping[str, str]
    wrong: str | None
    fault: str | None
    # Each form sends along what the other one asked, so that its answer stays.
    kept_outside: tuple[tuple[str, str], ...]
    kept_target: tuple[tuple[str, str], ...]


def read(args: Mapping[str, str]) -> RoomWish:
    """The question; empty fields ask nothing."""
    hours = number(args, "target-hours", "1 to 24 h")
    return RoomWish(
        outside_c=number(args, "outside-temperature", "-40 to 50 °C"),
        outside_pct=number(args, "outside-rh", "1 to 100 %RH"),
        target_pct=number(args, "target-rh", "20 to 80 %RH"),
        target_hours=24.0 if hours is None else hours,
    )


def form_of(args: Mapping[str, str], error: FieldError | None) -> Form:
    """The forms with what was entered, kept as it was typed."""
    values = {name: given(args, name) for name in LABELS}
    return Form(
        values=values | {"target-hours": values["target-hours"] or "24"},
        wrong=None if error is None else error.field,
        fault=None if error is None else fault_in_words(error, LABELS),
        kept_outside=_kept(args, OUTSIDE),
        kept_target=_kept(args, TARGET),
    )


def _kept(args: Mapping[str, str], names: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    return tuple((name, given(args, name)) for name in (*names, "window") if given(args, name))
