"""The alarm table read into the model and checked: a row that breaks a rule is refused (A-17, A-29)."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from math import isfinite
from typing import Any

import msgspec

from monitor.errors import BadInputError
from monitor.model.alarm_row import AlarmClass, AlarmRow, Consequence
from monitor.model.hiding_rule import HidingRule

LONGEST_S = 30 * 86_400.0
LONGEST_SHELF_S = 7 * 86_400.0  # A-06, of the least priority
_NUMBERS = {
    "respond_s": (600.0, LONGEST_S),  # nothing relies on a person within ten minutes
    "deadband": (0.0, 50.0),
    "on_delay_s": (0.0, LONGEST_S),
    "off_delay_s": (0.0, LONGEST_S),
    "realarm_s": (3_600.0, LONGEST_S),
    "shelve_max_s": (0.0, LONGEST_SHELF_S),
}


class _Row(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    alarm_class: AlarmClass = msgspec.field(name="class")
    name: str
    causes: list[str]
    consequence: Consequence
    why: str
    act: str
    respond_s: float
    set_point: str
    basis: str
    deadband: float
    on_delay_s: float
    off_delay_s: float
    k: int
    n: int
    latches: bool = False
    realarm_s: float | None = None
    shelve_max_s: float
    hidden_by: list[str] = []
    test: str


class _Rule(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    text: str
    causes: list[str]
    hides: list[str]
    same_place: bool
    max_s: float
    settles_s: float


class _File(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    rules: dict[str, _Rule]
    rows: dict[str, _Row]


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmTable:
    """Rows by type, rules by name; each refers only to what is there."""

    rows: Mapping[str, AlarmRow]
    rules: Mapping[str, HidingRule]


@cache
def load_alarm_table() -> AlarmTable:
    """The table that comes with this package."""
    return parse_alarm_table(files("monitor").joinpath("data/alarms.toml").read_bytes())


def parse_alarm_table(content: bytes) -> AlarmTable:
    """BadInputError names the row and the field of the first fault."""
    try:
        file = msgspec.toml.decode(content, type=_File)
    except msgspec.DecodeError as error:
        raise BadInputError(f"alarm table: {error}") from None
    rows = {kind: _row(kind, row) for kind, row in file.rows.items()}
    rules = {
        name: HidingRule(
            name=name,
            text=rule.text,
            causes=tuple(rule.causes),
            hides=tuple(rule.hides),
            same_place=rule.same_place,
            max_s=rule.max_s,
            settles_s=rule.settles_s,
        )
        for name, rule in file.rules.items()
    }
    for row in rows.values():
        _check_row(row, rules)
    for rule in rules.values():
        _check_rule(rule, rows)
    return AlarmTable(rows=rows, rules=rules)


def _row(kind: str, row: _Row) -> AlarmRow:
    members: dict[str, Any] = msgspec.structs.asdict(row)
    lists = {"causes": tuple(row.causes), "hidden_by": tuple(row.hidden_by)}
    return AlarmRow(type=kind, **(members | lists))


def _check_row(row: AlarmRow, rules: Mapping[str, HidingRule]) -> None:
    for field in ("name", "why", "act", "set_point", "basis", "test"):
        if not getattr(row, field).strip():
            raise _fault(row.type, field, "must not be empty")
    if not row.causes or not all(cause.strip() for cause in row.causes):
        raise _fault(row.type, "causes", "must name at least one cause, none of them empty")
    for field, (low, high) in _NUMBERS.items():
        value = getattr(row, field)
        if value is not None and not (isfinite(value) and low <= value <= high):
            raise _fault(row.type, field, f"must be {low:g} to {high:g}")
    if row.on_delay_s > row.respond_s / 4.0:
        raise _fault(row.type, "on_delay_s", f"must be at most a quarter of respond_s, {row.respond_s / 4:g}")
    if not 1 <= row.k <= row.n <= 20:
        raise _fault(row.type, "k", "must be 1 to n, and n at most 20")
    for name in row.hidden_by:
        if name not in rules or row.type not in rules[name].hides:
            raise _fault(row.type, "hidden_by", f"names {name!r}, which is no rule that hides it")
    is_safety = row.alarm_class is AlarmClass.SAFETY
    if is_safety and (row.hidden_by or row.shelve_max_s > 0.0):
        field = "hidden_by" if row.hidden_by else "shelve_max_s"
        raise _fault(row.type, field, "must be empty or 0: safety is never hidden and never shelved")
    if row.latches and not is_safety:
        raise _fault(row.type, "latches", "must be false: only safety latches (A-11)")


def _check_rule(rule: HidingRule, rows: Mapping[str, AlarmRow]) -> None:
    if not rule.text.strip() or not rule.causes:
        raise _fault(rule.name, "text" if rule.causes else "causes", "must not be empty")
    if not 0.0 < rule.max_s <= LONGEST_S:
        raise _fault(rule.name, "max_s", f"must be above 0 and at most {LONGEST_S:g} (A-27)")
    if not 0.0 <= rule.settles_s <= rule.max_s:
        raise _fault(rule.name, "settles_s", f"must be 0 to max_s, {rule.max_s:g}")
    for kind in rule.hides:
        if kind not in rows or rule.name not in rows[kind].hidden_by:
            raise _fault(rule.name, "hides", f"names {kind!r}, which has no row that names the rule")
    for kind in rule.causes:
        if kind not in rows and kind != "drying":  # what goes on at a place, not an alarm
            raise _fault(rule.name, "causes", f"names {kind!r}, which is no row")


def _fault(where: str, field: str, what: str) -> BadInputError:
    return BadInputError(f"alarm table, {where}: {field} {what}")
