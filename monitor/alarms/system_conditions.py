"""What may be wrong with the monitor itself."""

from monitor.alarms import wording
from monitor.model.around import Around
from monitor.model.condition import Condition

_TROUBLES = {
    "database_trouble": "database_trouble",
    "supervision_trouble": "supervision_trouble",
    "clock_wrong": "clock_trouble",
    "delivery_failing": "delivery_trouble",
    "records_broken": "chain_trouble",
}
TYPES = ("broker_away", "disk_low", *_TROUBLES)
LEAST_FREE_BYTES = 200_000_000
LEAST_FREE_SHARE = 0.05


def system_conditions(around: Around) -> tuple[Condition, ...]:
    """They have no place."""
    found = [_broker(around), _disk(around)]
    for kind, member in _TROUBLES.items():
        told: str | None = getattr(around, member)
        found.append(
            Condition(type=kind, place="", holds=None if told is None else bool(told), what=told or "")
        )
    return tuple(found)


def _broker(around: Around) -> Condition:
    away_s = around.broker_away_s
    if away_s is None:
        return Condition(type="broker_away", place="", holds=None)
    what = f"The broker has not been reached for {wording.span(away_s)}." if away_s > 0.0 else ""
    return Condition(type="broker_away", place="", holds=away_s > 0.0, what=what)


def _disk(around: Around) -> Condition:
    free, total = around.disk_free_bytes, around.disk_total_bytes
    if free is None or total is None or total <= 0:
        return Condition(type="disk_low", place="", holds=None)
    limit = max(LEAST_FREE_BYTES, LEAST_FREE_SHARE * total)
    what = f"{free / 1e6:.0f} MB of storage are free, less than {limit / 1e6:.0f} MB."
    # In MB, as the row's deadband is.
    return Condition(
        type="disk_low", place="", holds=free < limit, value=free / 1e6, limit=limit / 1e6, what=what
    )
