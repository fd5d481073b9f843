"""What people told of a spool, as a list: what stands, and what was corrected or withdrawn."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from monitor.model.inventory import Inventory
from monitor.model.records import Withdrawn, effective
from monitor.model.spool_event import (
    Bagged,
    Dried,
    Moved,
    Opened,
    Signs,
    Spoiled,
    SpoolEvent,
    Used,
    Weighed,
    What,
)
from monitor.service.spool_words import sign_questions
from web.inside import sentence, uncapitalised
from web.present import Presenter
from web.spools.words import place_of


class Ending(Protocol):
    """A record that replaces another one."""

    @property
    def entered_s(self) -> float: ...

    @property
    def who(self) -> str: ...

    @property
    def what(self) -> object: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """One record in words; `gone` tells how one that no longer holds ended."""

    number: int
    kind: str
    words: str
    when: str
    who: str
    gone: str


def standing(events: Sequence[SpoolEvent], inventory: Inventory, present: Presenter) -> tuple[Record, ...]:
    """What holds, the newest first."""
    return tuple(record(event, inventory, present) for event in reversed(effective(events)))


def gone(events: Sequence[SpoolEvent], inventory: Inventory, present: Presenter) -> tuple[Record, ...]:
    """What no longer holds, with who ended it and why; the newest end first."""
    by_number = {event.event_id: event for event in events}
    return tuple(
        record(by_number[event.replaces], inventory, present, ended(event, present))
        for event in reversed(events)
        if event.replaces in by_number and event.replaces is not None
    )


def told(what: What, inventory: Inventory) -> str:
    """What happened, in a few words."""
    if isinstance(what, Moved):
        return "Lost sight of: nobody knows where" if what.place is None else _moved(what.place, inventory)
    if isinstance(what, Used):
        return f"Printed {what.grams:.3g} g"
    if isinstance(what, Weighed):
        return _weighed(what)
    if isinstance(what, Dried):
        room = "" if what.room_humidity_pct is None else f", room at {what.room_humidity_pct:g} %RH"
        return f"Dried elsewhere for {what.hours:g} h at {what.temperature_c:g} °C{room}"
    if isinstance(what, Signs):
        asked = _questions()
        return "Seen: " + "; ".join(uncapitalised(asked.get(str(sign), str(sign))) for sign in what.seen)
    if isinstance(what, Bagged):
        return "Sealed in a bag"
    if isinstance(what, Opened):
        return "Bag opened"
    if isinstance(what, Spoiled):
        return f"Judged beyond saving: {what.why}"
    return f"Withdrawn: {what.why}"


def _moved(place: str, inventory: Inventory) -> str:
    return f"Moved to {place_of(inventory, place).name}"


def _weighed(what: Weighed) -> str:
    mean = f", mean of {what.repeats}" if what.repeats > 1 else ""
    warm = ", still warm" if what.is_warm else ""
    return f"Weighed {what.mass_g:.8g} g on a scale of {what.resolution_g:g} g{mean}{warm}"


def _questions() -> Mapping[str, str]:
    return {str(question.sign): question.asked for question in sign_questions()}


def record(event: SpoolEvent, inventory: Inventory, present: Presenter, end: str = "") -> Record:
    """One record in words; `end` tells how it ended, where it did."""
    return Record(
        number=event.event_id,
        kind=event.what.kind,
        words=told(event.what, inventory),
        when=present.clock(event.at_s, "%d %b %Y %H:%M"),
        who=event.who,
        gone=end,
    )


def ended(event: Ending, present: Presenter) -> str:
    """How a record ended, by the one that replaces it."""
    when = present.clock(event.entered_s, "%d %b %Y %H:%M")
    if isinstance(event.what, Withdrawn):
        return f"Withdrawn by {event.who}, {when}: {sentence(event.what.why)}"
    return f"Corrected by {event.who}, {when}."
