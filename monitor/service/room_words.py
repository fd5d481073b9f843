"""The sentences of the advice on a room, alike for pages and programs."""

from monitor.alarms.wording import humidity
from monitor.model.answers import RoomAnswer
from monitor.model.room_air import Airing, Basis, HourAnswer, UsualAir

# Closer than this to what it is now, a dehumidifier has nothing to do [share of the leak].
_NO_GAIN = 0.95
_TOO_DRY_PCT = 35.0


def usual_words(basis: Basis, humidity_pct: float, temperature_c: float, measured_hours: int) -> str:
    """What the room's usual air is taken to be."""
    air = f"{humidity(humidity_pct)} at {temperature_c:.0f} °C"
    if basis is Basis.PAST:
        return f"{air}, the mean of {measured_hours} measured hours of the last 14 days"
    if basis is Basis.NOW:
        return f"{air}, the newest reading, as too little of the last 14 days is stored"
    return f"{air}, which is assumed"


def missing_words(room: RoomAnswer, basis: Basis) -> tuple[str, ...]:
    """What would have to be known for more."""
    if basis is Basis.ASSUMED:
        reason = room.air.why or "its readings are old"
        return (
            f"The humidity of {room.name} is not known ({reason}): where a figure is needed, 50 %RH at 23 °C "
            "is assumed, as for spools that lie here.",
        )
    if room.air.stale:
        return (f"What {room.name} is like just now is not known: its readings are old.",)
    return ()


def clock(hour: int) -> str:
    """'from 14:00 to 15:00'."""
    return f"from {hour:02}:00 to {(hour + 1) % 24:02}:00"


def day_words(driest: HourAnswer, dampest: HourAnswer, less_share: float, *, is_worth_waiting: bool) -> str:
    """When to open a box; `less_share` of the water comes in at the driest hour less than at the dampest."""
    if not is_worth_waiting:
        return (
            "Open a box when it suits you: the hour makes no difference worth waiting for here. "
            "That it is shut again soon counts more."
        )
    return (
        f"If it can wait, open boxes {clock(driest.hour)}: an opening then lets in about "
        f"{100.0 * less_share:.0f} % less water than {clock(dampest.hour)}."
    )


def airing_words(
    verdict: Airing, inside_pct: float, room_pct: float, temperature_c: float, basis: Basis
) -> str:
    """Whether to open the window."""
    was = "is" if basis is not Basis.ASSUMED else "is assumed to be"
    room = f"the room, which {was} at {humidity(room_pct)}"
    if verdict is Airing.DEW:
        return (
            f"Keep the window shut: come to {temperature_c:.0f} °C that air is more than saturated, "
            "and wets what it touches."
        )
    inside = f"come to {temperature_c:.0f} °C that air is at {humidity(inside_pct)}"
    if verdict is Airing.DRIER:
        return f"Airing helps: {inside}, drier than {room}."
    if verdict is Airing.DAMPER:
        return f"Airing makes it damper: {inside}, moister than {room}."
    return f"Airing makes no difference that can be measured: {inside}, and {room}."


def measure_words(usual: UsualAir, target_pct: float, hours: float, leak_share: float) -> str:
    """What a dehumidifier is worth to the boxes."""
    if target_pct >= usual.humidity_pct:
        return f"Nothing to gain: the room is at {humidity(usual.humidity_pct)} in the mean already."
    held = "all day" if hours >= 24.0 else f"for {hours:g} h a day, and as it is now for the rest"
    if leak_share > _NO_GAIN:
        return (
            f"Hardly worth it: with {humidity(target_pct)} held {held}, boxes would still take in "
            f"{100.0 * leak_share:.0f} % of the water that leaks into them now."
        )
    longer = 1.0 / leak_share
    note = " So dry a room is hard on wood and people." if target_pct < _TOO_DRY_PCT else ""
    return (
        f"With {humidity(target_pct)} held {held}, {100.0 * leak_share:.0f} % of what leaks into a dry box "
        f"now would still come in: its desiccant would last about {longer:.1f} times as long, as far as "
        f"leaks and openings fill it, and not a wet spool inside.{note}"
    )
