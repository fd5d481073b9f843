"""An alarm's state as text and back, and how much of it is worth a write."""

import json
from dataclasses import asdict, replace
from typing import Any

from monitor.alarms.state import AlarmState, Away, Hiding, Said, Shelf
from monitor.errors import StoreError
from monitor.model.message import Priority

# Timers are kept to this: a power cut makes a delay so much longer, and the card is written so seldom.
TIMER_S = 300.0


def worth_keeping(state: AlarmState) -> AlarmState:
    """What must be written when it differs from what was: no sentence, no sample, timers coarsely."""
    shelf, hiding = state.shelf, state.hiding
    return replace(
        state,
        said=Said(),
        sample="",
        window=(),
        pending_s=None if state.pending_s is None else _coarse(state.pending_s),
        acked_for_s=_coarse(state.acked_for_s),
        shelf=None if shelf is None else replace(shelf, elapsed_s=_coarse(shelf.elapsed_s)),
        hiding=None if hiding is None else replace(hiding, elapsed_s=_coarse(hiding.elapsed_s)),
    )


def to_text(state: AlarmState) -> str:
    return json.dumps(asdict(state), ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def from_text(text: str) -> AlarmState:
    """What `to_text` wrote; StoreError when it is anything else."""
    try:
        plain: dict[str, Any] = json.loads(text)
        parts: dict[str, Any] = {
            "shelf": _part(Shelf, plain["shelf"]),
            "hiding": _part(Hiding, plain["hiding"]),
            "away": _part(Away, plain["away"]),
            "said": Said(**plain["said"]),
            "window": tuple(bool(value) for value in plain["window"]),
            "priority": Priority(plain["priority"]),
            "told_priority": Priority(plain["told_priority"]),
        }
        return AlarmState(**(plain | parts))
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise StoreError(f"the saved state of an alarm cannot be read: {error}") from None


def _coarse(seconds: float) -> float:
    return seconds // TIMER_S * TIMER_S


def _part(kind: Any, plain: Any) -> Any:
    return None if plain is None else kind(**plain)
