"""What is said of a drying by the water left in it: on the page, in notices and in the record."""

from monitor.model.answers import Spread
from monitor.model.oven_progress import Ahead, Progress, Rewet, Standing

_KNOWN_G = 0.05  # less than any scale of the trade tells


def standing(ahead: Ahead) -> str:
    """Why it counts as it does, in one sentence."""
    if ahead.standing is Standing.DRY and ahead.is_releasing is None:
        return (
            "By the estimate every winding is under its limit; no humidity is measured in the chamber and the"
            " room to bear that out, so it goes on as confirmed."
        )
    if ahead.standing is Standing.DRY:
        reached = "" if ahead.target_pct is None else f" and its plan's target, {_target(ahead)}, reached"
        return (
            f"Every winding is under its limit{reached}; another hour would gain {_grams(ahead.gain_g)},"
            f" less than the {_grams(ahead.known_g)} to which its water is known."
        )
    if ahead.standing is Standing.FLOOR:
        return (
            f"This air leaves {ahead.floor_pct:.2g} % in it, however long it runs: drier inlet air, desiccant"
            " inside or a hotter setting that all inside stands would take out more."
        )
    if ahead.standing is Standing.RELEASING:
        return "By the estimate it is dry, but the chamber's vapour is still above the room's: it goes on."
    goes_on = "" if ahead.target_pct is None else f" It is dried to its plan's target, {_target(ahead)}."
    return f"It gives off {_grams(ahead.rate_g_h)} an hour.{goes_on}"


def _target(ahead: Ahead) -> str:
    of = "" if ahead.first_m is None else f" in the first {ahead.first_m:g} m"
    return f"{ahead.target_pct:.2g} %{of}"


def water(progress: Progress) -> str:
    """How much is left."""
    left = progress.left_g
    if left.p10 is None or left.p50 is None or left.p90 is None:
        return f"How much water is left is not known: {left.why}."
    above = "above the limits" if progress.target_pct is None else "above limits and target"
    if left.p90 <= 0.0:
        return f"No water is left {above}."
    if left.p90 < _KNOWN_G:
        return f"Less than 0.05 g of water is left {above}."
    return f"Water left {above}: {left.p50:.2g} g ({left.p10:.2g} to {left.p90:.2g} g)."


def dry_in(progress: Progress) -> str:
    """When it will be dry, with its range; empty where that is no question any more."""
    if progress.standing is not Standing.DRYING or progress.dry_after_h is None:
        return ""
    spread = progress.dry_after_h
    if spread.p50 is None:
        return "It does not get dry in this air within two days."
    if spread.p50 == 0.0:
        return (
            "Its mean is probably under its limit; it goes on until every winding surely is, or time is up."
        )
    return f"Dry in about {hours(spread.p50)} ({_span(spread)})."


def time_left(progress: Progress) -> str:
    """Whether the confirmed time will do; empty where it will, or that cannot be told."""
    if progress.ends_in_time == "likely":
        return "The confirmed time will probably do; one chance in ten says that it takes longer."
    if progress.ends_in_time != "no":
        return ""
    if progress.short_by_s is None:
        return "The confirmed time will not do, and more time in this air does not help."
    return (
        f"The confirmed time will not do: about {hours(progress.short_by_s / 3600.0)} are missing."
        " Longer is a new order of yours."
    )


def dry(oven: str, names: str, hold_c: float | None) -> tuple[str, str, str]:
    """(what, why, act) once it is found dry."""
    if hold_c is None:
        return (
            f"{names} in {oven} is dry, and its heat has ended.",
            "Cooler air of this room would wet it again, so it is not held warm.",
            "Take it out once the oven is cool, into a dry box.",
        )
    return (
        f"{names} in {oven} is dry and is held at {hold_c:g} °C until its confirmed end.",
        "Staying hotter gains next to nothing and ages it.",
        "Take it out before then, into a dry box: opening the door ends the heat.",
    )


def take_out(oven: str, names: str, after: Rewet | None, missed_pct: float | None) -> tuple[str, str, str]:
    """(what, why, act) once the heat has ended on something dry; `missed_pct`: its target, if not reached."""
    if after is None or after.earliest_h is None:
        what = f"{names} in {oven} is dry; the room's air does not take it over its limit within 90 days."
    else:
        what = f"{names} in {oven} is dry, and the room's air takes it over its limit {rewet(after)}."
    missed = (
        "" if missed_pct is None else f" It is not sure to be at its plan's target of {missed_pct:.2g} %."
    )
    why = f"From the end of heat on it takes up water again.{missed}"
    return what, why, "Take it out once cool, into a dry box."


def not_dry(oven: str, names: str, left: Spread) -> tuple[str, str, str]:
    """(what, why, act) once the heat has ended on something that is not dry, or not surely."""
    is_little = left.p50 is None or left.p50 < _KNOWN_G
    grams = "" if is_little else f": about {left.p50:.2g} g of water are left above its limit"
    return (
        f"The drying of {names} in {oven} is over, and it is not sure to be dry{grams}.",
        "A spool that is dry outside only prints well for its first metres.",
        "Plan it anew, or weigh it.",
    )


def rewet(after: Rewet) -> str:
    """'in about 5 h (2 h to 9 h)'."""
    if after.earliest_h is None:
        return "not within 90 days"
    if after.earliest_h == 0.0:
        return "soon, if it has not already"
    middle = after.likely_h if after.likely_h is not None else after.earliest_h
    latest = "more than 90 days" if after.latest_h is None else hours(after.latest_h)
    return f"in about {hours(middle)} ({hours(after.earliest_h)} to {latest})"


def hours(value: float) -> str:
    """'40 min', '2 h 30', '12 h', '3 days'."""
    if value >= 72.0:
        return f"{value / 24.0:.0f} days"
    minutes = round(60.0 * value / 5.0) * 5 if value >= 1.0 else round(60.0 * value)
    if minutes < 60:
        return f"{max(minutes, 1)} min"
    whole, rest = divmod(minutes, 60)
    return f"{whole} h {rest:02d}" if rest else f"{whole} h"


def _span(spread: Spread) -> str:
    low = 0.0 if spread.p10 is None else spread.p10
    high = "more than two days" if spread.p90 is None else hours(spread.p90)
    return f"{hours(low)} to {high}"


def _grams(value: float) -> str:
    return "less than 0.05 g" if value < _KNOWN_G else f"{value:.2g} g"
