"""The table of moves as a page for people; `deploy/docs/alarm-states.md` is its text."""

from monitor.alarms.moves import MOVES, REFUSED_OF_SAFETY, Seen, words
from monitor.alarms.state import Shown
from monitor.alarms.step import SHELVE_MAX_S

_HEAD = """# What an alarm may do

Written by `monitor/alarms/table.py` from the table that the program runs on; a test fails when they differ.
Write it anew with `python -m monitor.alarms.table > deploy/docs/alarm-states.md`.

An alarm keeps three things that do not depend on each other: whether its condition holds (yes, no, cannot be
told), whether somebody acknowledged it, and what suppresses it. The state shown follows from them. While the
condition cannot be told the alarm keeps its state and says since when it is not known: loss of data clears
nothing. So a reset is also refused while the condition cannot be told.

## States and moves

A row is what happens, a column the state it happens in. Where a field names several states, what is so
beneath decides: whether people were told, whether it latches, what else hides it.
"""


def page() -> str:
    """The whole page, Markdown."""
    rows = [[seen.value, *(words(MOVES[shown][seen]) for shown in Shown)] for seen in Seen]
    return "\n".join([_HEAD, _table(["what happens", *(f"in {s}" for s in Shown)], rows), _tail()])


def _tail() -> str:
    refused = ", ".join(seen.value for seen in REFUSED_OF_SAFETY)
    rows = [
        [str(priority), f"{most_s / 3600:g} h" if most_s else "never"]
        for priority, most_s in SHELVE_MAX_S.items()
    ]
    limits = "## How long an alarm may be put aside\n\n" + _table(["priority", "at most"], rows)
    return f"Of a matter of safety these are refused in every state: {refused}.\n\n{limits}"


def _row(cells: list[str]) -> str:
    return f"| {' | '.join(cells)} |"


def _table(head: list[str], rows: list[list[str]]) -> str:
    return "\n".join([_row(head), _row(["---"] * len(head)), *(_row(row) for row in rows), ""])


if __name__ == "__main__":
    print(page(), end="")
