"""Every sentence a person reads about the state of things: what is so, what it means, what to do."""

from monitor.model.answers import Freshness

# Closer to a limit than this a sensor of the SHT4x class cannot tell [%RH]; its data sheet.
SENSOR_ERROR_PCT = 1.8


def span(seconds: float) -> str:
    """A duration as people say it: '40 s', '12 min', '5 h', '3 days'."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    if seconds < 5_400:
        return f"{seconds / 60:.0f} min"
    if seconds < 129_600:
        return f"{seconds / 3600:.0f} h"
    return f"{seconds / 86_400:.0f} days"


def humidity(percent: float) -> str:
    """Relative humidity as far as a sensor of this class (1.8 %RH) can know it."""
    return f"{percent:.0f} %RH" if percent >= 9.5 else f"{percent:.1f} %RH"


def silent(name: str, freshness: Freshness, age_s: float | None) -> tuple[str, str]:
    """(what, act) for a place whose readings have stopped."""
    if freshness is Freshness.NEVER or age_s is None:
        return (
            f"{name} has never been heard.",
            "Check that its sensor is powered and that its channel in the inventory is right.",
        )
    return (
        f"{name}: no reading for {span(age_s)}. What is shown is old.",
        "Check the sensor's power, cable and network; look into the box yourself until it is back.",
    )


def too_humid(name: str, percent: float, limit_pct: float, material: str) -> tuple[str, str]:
    """(what, act) for a box whose air makes what is inside too wet to print, given time."""
    return (
        f"{name} is at {humidity(percent)}. "
        f"{material} inside stays dry enough to print only below {humidity(limit_pct)}.",
        "Close the lid and change the desiccant, or move that spool to a drier box.",
    )


def above_wish(names: tuple[str, ...]) -> tuple[str, str]:
    """(what, act) for boxes a little above the humidity that their contents ask for."""
    return (
        f"Not as dry as the filament inside asks for: {_listed(names)}.",
        "Fresh desiccant helps; what has stayed there for long is best dried before it is printed.",
    )


def many_silent(names: tuple[str, ...]) -> tuple[str, str]:
    """(what, act) for many sensors that stopped together: look for the one cause (A-22)."""
    return (
        f"{len(names)} sensors have stopped: {_listed(names)}.",
        "Look for one cause: the broker, the network, or a node that many of them share.",
    )


def _listed(names: tuple[str, ...]) -> str:
    if len(names) > 5:
        return f"{', '.join(names[:4])} and {len(names) - 4} more"
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def hot(name: str, chamber_c: float) -> tuple[str, str]:
    """(what, act) for an oven that can burn (B-45)."""
    return (
        f"{name} is hot inside: {chamber_c:.0f} °C.",
        "Let it cool before you reach in. Keep its outside clear.",
    )


def tripped(name: str, what: str) -> tuple[str, str]:
    """(what, act) for an oven that has locked its heater."""
    return (
        f"{name} has switched its heater off and locked it: {what}",
        "Pull its plug if it is still hot. Find the cause before anybody resets it.",
    )


def unplaced(channels: tuple[str, ...]) -> tuple[str, str]:
    """(what, act) for sensors that nobody has put to a box, room or oven."""
    listed = ", ".join(channels[:3]) + (" and others" if len(channels) > 3 else "")
    return (
        f"Heard, but not placed anywhere: {listed}.",
        "Write the channel into the inventory where the sensor sits.",
    )


def rewet_soon(name: str, hours: float, place: str | None) -> tuple[str, str]:
    """(what, act) for a dry spool that will soon be over its limit where it is (P20, D-14)."""
    where = "where it is" if place is None else f"in {place}"
    return (
        f"{name} may be over its limit {_within(hours)} {where}.",
        "Put it back into a dry box, or print from one.",
    )


def rewet_now(name: str) -> tuple[str, str]:
    """(what, act) for a spool that takes up water and is likely not over its limit yet."""
    return (
        f"{name} takes up water where it is and may be over its limit already; likelier it is not yet.",
        "Put it back into a dry box now, or print from one.",
    )


def many_rewetting(names: tuple[str, ...], hours: float) -> tuple[str, str]:
    """(what, act) for many dry spools that are taking up water together."""
    return (
        f"{len(names)} spools may soon be over their limits, the first {_within(hours)}: {_listed(names)}.",
        "Put them back into dry boxes, or see why the air there is damp.",
    )


def _within(hours: float) -> str:
    if hours < 1.0:
        return "within the hour"
    return f"in about {hours:.0f} hour{'s' if round(hours) > 1 else ''}"


def spent(name: str, settled_pct: float | None, limit_pct: float) -> tuple[str, str, str]:
    """(what, why, act) for a desiccant that can no longer hold the box dry enough."""
    settles = "" if settled_pct is None else f": the box settles at about {humidity(settled_pct)}"
    return (
        f"{name}: its desiccant is used up, or as good as{settles}; "
        f"the contents ask for {humidity(limit_pct)}.",
        "From about now on what is inside takes up water.",
        "Change the desiccant, or dry it in an oven that its kind allows.",
    )


def spent_soon(name: str, days_low: float, days_high: float) -> tuple[str, str, str]:
    """(what, why, act) for a desiccant that is spent within days."""
    low, high = max(round(days_low), 0), max(round(days_high), 1)
    days = f"{low} to {high} days" if high > low else f"{high} day{'s' if high > 1 else ''}"
    return (
        f"{name}: its desiccant will be spent in about {days}.",
        "Then what is inside begins to take up water.",
        "Have fresh desiccant ready, or plan to dry this one.",
    )


def lid_open(name: str) -> tuple[str, str, str]:
    """(what, why, act) for a lid that stands open."""
    return (
        f"{name}: the lid seems to be open.",
        "The room's air costs its desiccant more in an hour than a tight lid lets in within days.",
        "Shut it, and press the seal down all round.",
    )


_CAUSE_WORDS = {
    "leak": ("it lets in more air than it should.", "Its desiccant is used up that much sooner."),
    "wet_contents": ("something in it gives off water.", "Its desiccant dries that, and is soon used up."),
    "sensor_offset": ("its sensor seems to be off.", "What is told of this box may be wrong."),
    "charge_too_small": ("it has too little desiccant.", "It will not last for a month."),
}


def misplaced(
    name: str, corner: str, drier_pct: float, limit_pct: float, dampest: str, *, is_short: bool
) -> tuple[str, str, str]:
    """(what, why, act) for a sensor that sits where it reads drier than in the dampest corner of its box."""
    care = "; it lay in a corner for less than a day, so take it with care" if is_short else ""
    return (
        f"The sensor of {name} sits “{corner}”, where it reads {drier_pct:.1f} %RH drier than “{dampest}”; "
        f"the limit is {limit_pct:g} %RH{care}.",
        "Round some of the spools the air is damper than what is shown, by as much.",
        f"Move the sensor to “{dampest}”, then say on the sensor's page that it sits there now.",
    )


def diagnosed(name: str, cause: str, evidence: str) -> tuple[str, str]:
    """(what, why) for a cause that the readings tell; the evidence is a sentence."""
    what, why = _CAUSE_WORDS[cause]
    return f"{name}: {what} {evidence}", why


def asked(kind: str) -> str:
    """A change that the readings tell and nobody entered."""
    if kind == "desiccant_changed":
        return "The air became drier than this desiccant can make it: was it changed, or a spool taken out?"
    return "More water comes in than was inside before: was a spool put in, or desiccant taken out?"


RAIL_LOW = "The sensor shows 0 %RH, the end of its range: it may be drier or may read too low."
RAIL_HIGH = "The sensor shows 100 %RH, the end of its range: dew on the sensor, or a fault."
