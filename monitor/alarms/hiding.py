"""Which alarms a declared rule hides now: causes in, rules out (A-07, A-26)."""

from collections.abc import Mapping

from monitor.model.alarm_row import AlarmRow
from monitor.model.hiding_rule import HidingRule

Cause = tuple[str, str]  # type of an alarm or mode, place


def hiding_rule(
    row: AlarmRow, place: str, rules: Mapping[str, HidingRule], causes: frozenset[Cause]
) -> HidingRule | None:
    """The first of the row's rules whose cause is there; None = nothing hides it."""
    for name in row.hidden_by:
        rule = rules[name]
        if row.type in rule.hides and _is_there(rule, place, causes):
            return rule
    return None


def _is_there(rule: HidingRule, place: str, causes: frozenset[Cause]) -> bool:
    return any(kind in rule.causes and (not rule.same_place or at == place) for kind, at in causes)
