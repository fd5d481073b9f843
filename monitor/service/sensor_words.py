"""Sentences about sensors and their checks: what is so, what it means, what to do."""

from collections.abc import Sequence

from monitor.estimate.sensor_check import GAIN_RANGE, MOST_OFFSET_PCT, Equilibrium, Settling, Why
from monitor.estimate.side_by_side import SideBySide, Spread
from monitor.model.sensor_check import Verdict


def settling(found: Equilibrium, reference_pct: float | None) -> str:
    """How far a sensor in a jar is."""
    if found.settling is Settling.REACHED:
        return (
            f"Settled: it reads {found.humidity_pct:.1f} %RH and hardly moves any more. Note this point now."
        )
    return _WHYS[found.why or Why.FEW].format(
        rate=abs(found.rate_pct_per_h or 0.0),
        left=abs(found.remaining_pct or 0.0),
        wait=_span(found.wait_s),
        shown="?" if found.humidity_pct is None else f"{found.humidity_pct:.1f}",
        wanted="?" if reference_pct is None else f"{reference_pct:.1f}",
    )


_WHYS = {
    Why.FEW: "Too few readings in the last two hours to tell. Is the sensor in reach and its node running?",
    Why.SOON: "Give it at least two hours in the shut jar; look again in {wait}.",
    Why.MOVING: "Not settled: it still moves by {rate:.1f} %RH an hour, about {left:.1f} %RH to go."
    " Leave the jar shut and look again in {wait}.",
    Why.WARMING: "The temperature is not steady: more than half a degree within the hour."
    " Put the jar out of the sun and of draughts, into a bigger box, and wait an hour.",
    Why.LEAKS: "This jar will not get there: it reads {shown} %RH and goes away from {wanted} %RH again."
    " The lid leaks, or the salt has fallen dry: stir in a few drops of water and shut it tight.",
    Why.STUCK: "This sensor has not moved since it lies in the jar: it is stuck."
    " Restart its node, or replace it.",
    Why.LONG: "This jar will not get there: after a day it still moves by {rate:.1f} %RH an hour,"
    " about {left:.1f} %RH to go. Take a smaller jar, more salt, and see that its lid is tight.",
}


def point(error_pct: float, uncertainty_pct: float, tolerance_pct: float, verdict: Verdict) -> str:
    """One as-found error."""
    off = f"It reads {abs(error_pct):.1f} %RH too {'high' if error_pct > 0 else 'low'}"
    known = f"±{uncertainty_pct:.1f} %RH"
    if verdict is Verdict.WITHIN:
        return f"{off} ({known}): within the ±{tolerance_pct:g} %RH of its data sheet."
    if verdict is Verdict.CORRECT:
        return f"{off} ({known}), beyond the ±{tolerance_pct:g} %RH of its data sheet: correct it."
    return (
        f"{off} ({known}): too far for a correction. Check once more with fresh salt in a tight jar; "
        "if it reads so again, replace it."
    )


def mended(error_pct: float, uncertainty_pct: float) -> str:
    """A sensor that was corrected since its check."""
    way = "high" if error_pct > 0 else "low"
    return f"Corrected: as found it read {abs(error_pct):.1f} %RH too {way} (±{uncertainty_pct:.1f} %RH)."


def proposal(
    verdict: Verdict, offset_pct: float, gain: float, left_pct: float, at_pct: float, *, is_mendable: bool
) -> str:
    """What the points together ask for."""
    line = f"{offset_pct:+.1f} %RH" + ("" if gain == 1.0 else f" and a gain of {gain:.3f}")
    left = f"Where it works, near {at_pct:.0f} %RH, ±{left_pct:.1f} %RH are left."
    if not is_mendable:
        return (
            f"It would take {line}, and no more than ±{MOST_OFFSET_PCT:g} %RH and a gain of "
            f"{GAIN_RANGE[0]:g} to {GAIN_RANGE[1]:g} are the error of a sensor that works."
            " Check once more with fresh salt; if it reads so again, replace it."
        )
    if verdict is Verdict.WITHIN:
        return f"It needs no correction; {line} would make it better still. {left}"
    return f"What mends it: {line}. {left}"


def tells(left_pct: float, at_pct: float, tolerance_pct: float) -> str:
    """How much a check over one salt tells where the sensor works (P17)."""
    if left_pct >= tolerance_pct:
        return f"Says little of {at_pct:.0f} %RH: ±{left_pct:.1f} %RH, no better than the data sheet."
    return f"Tells ±{left_pct:.1f} %RH near {at_pct:.0f} %RH, where it works."


def side_by_side(found: SideBySide, names: dict[str, str]) -> str:
    """Which of several sensors differs."""
    if found.fault is not None:
        return _FAULTS[found.fault]
    odd = [item for item in found.sensors if item.is_odd]
    lines = [
        f"{names[item.channel]} reads {abs(item.difference_pct):.1f} %RH "
        f"{'more' if item.difference_pct > 0 else 'less'} than the others; up to {item.allowed_pct:.1f} are "
        "allowed. Check it over a salt."
        for item in odd
    ]
    if found.is_pair_apart:
        one, other = (item for item in found.sensors if not item.is_odd)
        lines.append(
            f"{names[one.channel]} and {names[other.channel]} differ by {abs(one.difference_pct):.1f} %RH;"
            f" up to {one.allowed_pct:.1f} are allowed. Which of the two is off cannot be told:"
            " put a third beside them, or check both over a salt."
        )
    return " ".join(lines) or "They agree as well as their data sheets say."


_FAULTS = {
    "few": "Too few readings at the same times: leave them together for at least half an hour.",
    "apart": "Their temperatures differ by more than 1.5 °C: this is not one air. Put them side by side.",
    "moving": "Their readings still move: leave them together until they rest.",
}


def placement(found: Spread) -> str:
    """Where in a box its sensor belongs."""
    if found.fault == "few":
        return "Name at least two corners, each with the time for which the sensor lay there."
    first, last = found.spots[0], found.spots[-1]
    short = (
        " Stays of less than a day do not tell the course of a day: take it with care."
        if found.fault == "short"
        else ""
    )
    if not found.is_uneven:
        return (
            f"The corners agree within {found.spread_pct:.1f} %RH, which one sensor cannot tell apart:"
            f" it may sit in any of these.{short}"
        )
    return (
        f"{first.name} is the dampest: {first.humidity_pct:.1f} %RH, {found.spread_pct:.1f} more than"
        f" {last.name}. Put the sensor there: what is kept in the box must stand that corner, too.{short}"
    )


def look_back(error_pct: float, places: Sequence[str], spools: int, since: str, *, is_checked: bool) -> str:
    """What rested on a sensor that is off."""
    drier = "damper" if error_pct > 0 else "drier"
    told = " and ".join(places) if places else "No place"
    with_spools = "" if not spools else f" and of {spools} spool{'s' if spools > 1 else ''} kept there"
    last = "it was last found right on" if is_checked else "it was never checked; it is heard since"
    return (
        f"{told}: the air was taken for {drier} than it was, by {abs(error_pct):.1f} %RH as found."
        f" What was told of it{with_spools} may be wrong since then ({last} {since}). Look at it again."
    )


def due(state: str, when: str | None) -> str:
    return {
        "never": "Never checked: what its data sheet says is all that is known of it.",
        "good": f"Next check by {when}.",
        "soon": f"Check due by {when}.",
        "overdue": f"Check overdue since {when}: its readings are used as they are.",
    }[state]


def _span(seconds: float | None) -> str:
    if seconds is None:
        return "an hour"
    hours = seconds / 3600.0
    if hours < 1.0:
        return f"{max(5.0, round(hours * 12.0) * 5.0):.0f} minutes"
    return f"about {hours:.0f} hour{'s' if round(hours) > 1 else ''}"
