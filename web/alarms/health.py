"""How the alarms themselves do, as rows of figures beside what they should be (A-18 to A-20, A-33)."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from monitor.alarms.metrics import AlarmHealth
from monitor.alarms.wording import span
from monitor.model.alarm_change import AlarmFigure
from monitor.model.alarm_row import AlarmRow
from monitor.service.alarm_figures import FIGURES
from web.present import Presenter

TOLD_PER_DAY = 1.0  # A-20, of twenty boxes
FLOOD_SHARE = 0.01
STALE_MOST = 5
_NAMES = {
    "deadband": "deadband",
    "on_delay_s": "delay before it is told [s]",
    "off_delay_s": "delay before it is over [s]",
    "realarm_s": "told again after [s]",
    "shelve_max_s": "put aside at most [s]",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    name: str
    figure: str
    target: str
    is_well: bool
    names: str = ""  # which alarms


def measures(health: AlarmHealth, names: Mapping[str, str]) -> tuple[Measure, ...]:
    """The standard's own figures.

    Args:
        health: Over the last thirty days.
        names: Of alarms, by key.
    """

    def of(keys: Sequence[str]) -> str:
        told = [names.get(key, key) for key in keys[:5]]
        return ", ".join(told) + (f" and {len(keys) - 5} more" if len(keys) > 5 else "")

    def none(name: str, keys: Sequence[str], times: int, target: str = "none") -> Measure:
        return Measure(name=name, figure=str(times), target=target, is_well=not keys, names=of(keys))

    chatters = tuple(dict.fromkeys((*health.chattering, *health.slow_chattering)))
    fleeting, hasty, pairs = health.fleeting, health.hasty, health.always_together
    return (
        Measure(
            name="Told a day",
            figure=f"{health.told_per_day:.2f}",
            target=f"at most {TOLD_PER_DAY:g}, for twenty boxes",
            is_well=health.told_per_day <= TOLD_PER_DAY,
        ),
        none("Chattering: three times within an hour", chatters, len(chatters)),
        none("Fleeting: over within minutes", tuple(fleeting), sum(fleeting.values())),
        Measure(
            name="Standing for more than a day",
            figure=str(len(health.stale)),
            target=f"under {STALE_MOST}, each with a plan",
            is_well=len(health.stale) < STALE_MOST,
            names=of(health.stale),
        ),
        Measure(
            name="Time in a flood of alarms",
            figure=f"{100.0 * health.flood_share:.2f} %",
            target="under 1 %",
            is_well=health.flood_share < FLOOD_SHARE,
        ),
        none("Never acknowledged", health.never_acked, len(health.never_acked), "none: is it worth telling?"),
        none(
            "Acknowledged sooner than it can be read",
            tuple(hasty),
            sum(hasty.values()),
            "none: is it noise?",
        ),
        none("Put aside each time", health.always_shelved, len(health.always_shelved)),
        Measure(
            name="Always two together",
            figure=str(len(pairs)),
            target="none: one follows from the other",
            is_well=not pairs,
            names="; ".join(f"{of((a,))} with {of((b,))}" for a, b in pairs[:5]),
        ),
    )


def worst(health: AlarmHealth, names: Mapping[str, str]) -> tuple[tuple[str, str, str], ...]:
    """The most frequent alarms: key, name, and how often and how late each was raised."""
    found = []
    for key, count in health.bad_actors:
        delay_s = health.detection_delay_s.get(key)
        late = "" if delay_s is None else f", when it had held for {span(delay_s)} on average"
        found.append((key, names.get(key, key), f"{count} times{late}"))
    return tuple(found)


def figure_rows(
    rows: Mapping[str, AlarmRow], figures: Sequence[AlarmFigure], present: Presenter
) -> tuple[dict[str, str], ...]:
    """What people set of the table, the newest first; the newest of each can be taken back."""
    newest: set[tuple[str, str]] = set()
    found = []
    for figure in reversed(figures):
        is_newest = (figure.type, figure.name) not in newest
        newest.add((figure.type, figure.name))
        row = rows.get(figure.type)
        found.append(
            {
                "type": figure.type,
                "name": figure.name,
                "words": f"{row.name if row else figure.type}: {_NAMES.get(figure.name, figure.name)}",
                "change": f"{_number(figure.old)} to {_number(figure.value)}",
                "why": figure.why,
                "who": figure.who,
                "when": present.clock(figure.at_ms / 1000.0, "%d %b %Y %H:%M"),
                "can_revert": "yes" if is_newest else "",
            }
        )
    return tuple(found)


def settable() -> tuple[tuple[str, str], ...]:
    """Names of the numbers that may be set, with their words."""
    return tuple((name, _NAMES[name]) for name in FIGURES)


def _number(value: float | None) -> str:
    return "the table's" if value is None else f"{value:g}"
