"""The tables of this package as a page for people; `deploy/docs/oven-states.md` is its text."""

from monitor.model.oven import OvenPhase
from monitor.oven import hard
from monitor.oven.moves import MOVES, Seen
from monitor.oven.parameters import BOUNDS, OvenParameters
from monitor.oven.rules import RULES
from monitor.oven.verdict import HEATED

_HEAD = """# What an oven may do

Written by `monitor/oven/table.py` from the tables that the program runs on; a test fails when the two differ.
Write it anew with `python -m monitor.oven.table > deploy/docs/oven-states.md`.

Software here is class A: it lowers risk, the thermal cut-out is what makes an oven safe.

## States and moves

A row is what is seen, a column the state it is seen in; an empty field does not happen. Permits are given
in {heated} alone, for {lease:g} s at most, and renewed only while every rule below holds.

A stop ends a cycle at its controller for good. A hold (B-04) goes on later, so it publishes no stop: it
replaces the living permit at once by one of the same cycle with a set-point of 0 °C and a lease of 6 s, which
heats nothing, and gives no other until the hold has cleared on a state heard after it. Where no permit may be
given, because the newest state is too old or of another boot, the lease that lives runs out. A relay is
switched off. A lost link (B-22) sends no stop either: the lease has ended the heat, and a person may go on.
"""


def page() -> str:
    """The whole page, Markdown."""
    heated = ", ".join(phase for phase in OvenPhase if phase in HEATED)
    head = _HEAD.format(heated=heated, lease=hard.MAX_LEASE_S)
    return "\n".join([head, _moves(), _diagram(), _rules(), _bounds()])


def _row(cells: list[str]) -> str:
    return f"| {' | '.join(cells)} |"


def _table(head: list[str], rows: list[list[str]]) -> str:
    return "\n".join([_row(head), _row(["---"] * len(head)), *(_row(row) for row in rows), ""])


def _moves() -> str:
    """One row per fact: nine columns are read more easily than sixteen."""
    rows = [[seen.value, *(str(MOVES[phase].get(seen, "")) for phase in OvenPhase)] for seen in Seen]
    return _table(["seen", *(f"in {phase}" for phase in OvenPhase)], rows)


def _diagram() -> str:
    lines = ["```mermaid", "stateDiagram-v2", "    [*] --> idle"]
    for phase, moves in MOVES.items():
        for after in dict.fromkeys(moves.values()):
            names = [seen.name.lower() for seen, to in moves.items() if to is after]
            if after is not phase and after is not OvenPhase.TRIPPED:
                lines.append(f"    {phase} --> {after}: {', '.join(names)}")
    lines += ["```", "", "Every state also leads to `tripped`.", ""]
    return "\n".join(lines)


def _rules() -> str:
    rows = [[rule.id, rule.detects, _phases(rule.phases), _says(rule.judge.__doc__)] for rule in RULES]
    return "## Rules\n\n" + _table(["rule", "detects", "looked at in", "why"], rows)


def _phases(phases: frozenset[OvenPhase]) -> str:
    return "always" if len(phases) == len(OvenPhase) else ", ".join(p for p in OvenPhase if p in phases)


def _says(text: str | None) -> str:
    return (text or "").splitlines()[0].partition(": ")[2] if text else ""


def _bounds() -> str:
    """What an oven's figures are, and between which bounds they may be set."""
    figures = OvenParameters(max_c=70.0)
    rows = [
        [
            f"`{name}`",
            "per oven" if name == "max_c" else f"{getattr(figures, name):g}",
            f"{low:g}",
            f"{high:g}",
        ]
        for name, (low, high) in BOUNDS.items()
    ]
    return "## Figures of an oven\n\n" + _table(["figure", "start value", "lowest", "highest"], rows)


if __name__ == "__main__":
    print(page(), end="")
