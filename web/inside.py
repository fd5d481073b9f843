"""What lies in a box, in finished words: its spools, and its desiccant in a few."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from monitor.model.answers import DesiccantAnswer, SpoolAnswer, Spread
from web.boxes.figures import days_briefly

LEAST_WATER_PCT = 0.001  # no method of a workshop or a maker tells less
VERDICT_WORDS = {
    "ready": "Dry enough to print.",
    "dry_first": "Dry it before printing.",
    "not_sure": "Not known whether dry enough to print.",
    "damaged": "Damaged by water: drying does not mend it.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Inside:
    """One thing in a box."""

    name: str
    kind: str
    words: str
    key: str = ""  # of a spool, for the link to its page


def spools(answers: Iterable[SpoolAnswer]) -> tuple[tuple[Inside, ...], str]:
    """All spools of a box; what holds for every one of them is said once, after them."""
    items = tuple(spool(answer) for answer in answers)
    said = {item.words for item in items}
    if len(items) < 2 or len(said) > 1:
        return items, ""
    return tuple(replace(item, words="") for item in items), f"All of these: {uncapitalised(said.pop())}"


def spool(answer: SpoolAnswer) -> Inside:
    """A spool's water, which is another thing than the air around it (P11)."""
    words = VERDICT_WORDS[answer.verdict]
    if answer.moisture_pct.p50 is None:
        words += f" {sentence(answer.verdict_why or answer.moisture_pct.why)}"
    else:
        limit = "" if answer.limit_pct is None else f"; above {answer.limit_pct:.2g} % prints suffer"
        words += f" Water: {water_band(answer.moisture_pct)}{limit}."
    kind = _kind(answer.material).upper()
    return Inside(name=answer.name, kind=kind, words=words.strip(), key=answer.key)


def charge_briefly(charge: DesiccantAnswer) -> str:
    """A few words for the strip, empty where nothing is known."""
    if charge.spent:
        return "desiccant spent"
    days = days_briefly(charge.days_left)
    return f"desiccant for {days}" if days else ""


def sentence(why: str | None) -> str:
    """A reason, which an answer gives as a clause, as a sentence."""
    return "" if not why else f"{why[0].upper()}{why[1:].rstrip('.')}."


def water_band(spread: Spread) -> str:
    """'about 0.34 % (0.21 to 0.52)' of water."""
    if spread.p10 is None or spread.p50 is None or spread.p90 is None:
        return "not known"
    if spread.p50 < LEAST_WATER_PCT and spread.p90 < LEAST_WATER_PCT:
        return f"{content(spread.p90)} %"
    return f"about {content(spread.p50)} % ({content(spread.p10)} to {content(spread.p90)})"


def content(percent: float) -> str:
    """A water content [%] with the two digits that are known; less than anybody can tell is not told."""
    return f"under {LEAST_WATER_PCT:g}" if percent < LEAST_WATER_PCT else f"{percent:.2g}"


def band(spread: Spread, form: str, unit: str, times: float = 1.0) -> str:
    """'about 0.34 % (0.21 to 0.52)': never a figure without how well it is known."""
    if spread.p10 is None or spread.p50 is None or spread.p90 is None:
        return "not known"
    low, middle, high = (f"{times * value:{form}}" for value in (spread.p10, spread.p50, spread.p90))
    return f"about {middle}{unit} ({low} to {high})"


def _kind(key: str) -> str:
    return key.replace("_", " ")


def uncapitalised(words: str) -> str:
    """To go on in a sentence."""
    return f"{words[:1].lower()}{words[1:]}"
