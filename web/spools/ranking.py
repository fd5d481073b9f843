"""One list of all spools by what needs attention first (P27)."""

from collections.abc import Iterable
from dataclasses import dataclass

from monitor.model.answers import SpoolAnswer
from web.present import seconds
from web.spools.words import is_over, looks_right

# A deadline further off than this is no reason to look at a spool before one that nobody is sure of.
SOON_S = 14 * 86_400.0
_DAMAGED, _DRY_FIRST, _SOON, _NOT_SURE, _READY = range(5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """How many spools stand where."""

    dry_first: int
    not_sure: int
    damaged: int
    all: int


def ranked(spools: Iterable[SpoolAnswer], now_s: float) -> list[SpoolAnswer]:
    """What needs attention first stands first; among equals what was exposed longest."""
    return sorted(spools, key=lambda spool: _rank(spool, now_s))


def tally(spools: Iterable[SpoolAnswer]) -> Tally:
    """Counts for the headline."""
    verdicts = [spool.verdict for spool in spools]
    return Tally(
        dry_first=verdicts.count("dry_first"),
        not_sure=verdicts.count("not_sure"),
        damaged=verdicts.count("damaged"),
        all=len(verdicts),
    )


def headline(counts: Tally) -> str:
    """The one sentence over the list."""
    if counts.all == 0:
        return "No spool is in the inventory yet."
    if counts.dry_first:
        wait = "wants" if counts.dry_first == 1 else "want"
        return f"{counts.dry_first} of {counts.all} spools {wait} drying before printing."
    if counts.not_sure:
        return f"Of {counts.not_sure} of {counts.all} spools it is not sure that they are dry."
    if counts.damaged:
        return f"{counts.damaged} of {counts.all} spools can no longer be used."
    return "Every spool is dry enough to print." if counts.all > 1 else "The spool is dry enough to print."


def briefly(counts: Tally) -> str:
    """The same for the first page; empty where there is nothing to do."""
    parts = []
    if counts.damaged:
        parts.append(f"{counts.damaged} damaged")
    if counts.dry_first:
        parts.append(f"{counts.dry_first} to dry first")
    if counts.not_sure:
        parts.append(f"{counts.not_sure} not sure")
    return ", ".join(parts)


def _rank(spool: SpoolAnswer, now_s: float) -> tuple[int, float, float, str]:
    group, within = _group(spool, now_s)
    return group, within, -(spool.exposure_h or 0.0), spool.name.lower()


def _group(spool: SpoolAnswer, now_s: float) -> tuple[int, float]:
    if spool.verdict == "damaged":
        return _DAMAGED, 0.0
    if spool.verdict == "dry_first":
        # Prints that look wrong come before prints that are merely weaker, a wet core comes last.
        return _DRY_FIRST, 2.0 if not is_over(spool) else 1.0 if looks_right(spool) else 0.0
    at_s = seconds(spool.use_before)
    if at_s is not None and at_s - now_s <= SOON_S:
        return _SOON, at_s
    if spool.verdict == "not_sure":
        return _NOT_SURE, 0.0 if is_over(spool) else 1.0
    return _READY, float("inf") if at_s is None else at_s
