"""When one alarm's cause explains another, which is then hidden for a bounded time (A-26, A-27)."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class HidingRule:
    """Declared beside the alarm table; rows name the rules that may hide them."""

    name: str
    text: str  # shown next to what it hides: "hidden because ..."
    causes: tuple[str, ...]  # types whose condition hides; or modes of a place, such as "drying"
    hides: tuple[str, ...]  # types
    same_place: bool  # the cause must be at the very place
    max_s: float  # longer than this nothing stays hidden
    settles_s: float  # what the cause did to the air takes so long to pass when it is gone
