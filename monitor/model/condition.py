"""What may be wrong at a place, as the rules see it now; alarms and the list of needs are made of these."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """One row of the alarm table at one place."""

    type: str  # row of the alarm table
    place: str  # inventory key
    holds: bool | None  # None = cannot be told now
    value: float | None = None  # what was compared, in the row's unit
    limit: float | None = None  # with what
    deadline_s: float | None = None  # by when somebody has to have acted [Unix s]; None = no model tells
    what: str = ""  # one sentence, with value and limit
    why: str = ""  # why it matters
    act: str = ""  # what to do
