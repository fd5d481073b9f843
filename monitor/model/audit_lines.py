"""Which lines of the log follow from what a commit writes."""

from collections.abc import Iterator, Mapping
from dataclasses import asdict
from typing import Any

from monitor.model.audit import SYSTEM, AuditEntry, AuditKind
from monitor.model.batch import Batch, InventoryChange
from monitor.model.inventory import Inventory
from monitor.model.people import (
    CONSOLE,
    FeedEnded,
    FeedMade,
    PasswordSet,
    PeopleChange,
    PersonAdded,
    PersonRemoved,
    RoleSet,
    fold,
)

# The names of what a batch changes of people; sessions come and go with acts, seen times are no acts.
_PEOPLE_WORDS: dict[type, str] = {
    PersonAdded: "a person was added",
    RoleSet: "a role was set",
    PasswordSet: "a password was set",
    PersonRemoved: "a person was removed",
    FeedMade: "a calendar address was made",
    FeedEnded: "a calendar address was ended",
}


def audit_of(batch: Batch, before: Inventory) -> list[AuditEntry]:
    """One line for each thing that a person or the system did in this batch, by time within each kind.

    Secrets never get here: of people only who and what, no password, code, token or digest of one.

    Args:
        batch: What is about to be written.
        before: The inventory as it was.
    """
    return [
        *_acts(batch),
        *_people(batch),
        *([] if batch.inventory is None else _inventory(batch.inventory, before)),
        *_events(batch),
        *_figures(batch),
        *_ovens(batch),
        *batch.audit,
    ]


def _acts(batch: Batch) -> Iterator[AuditEntry]:
    for act in batch.acts:
        yield AuditEntry(
            at_ms=act.at_ms,
            who=act.person,
            kind=AuditKind.ACT,
            about=act.on_what,
            what=act.what,
            detail={"detail": act.detail} if act.detail else {},
        )


def _people(batch: Batch) -> Iterator[AuditEntry]:
    """Only what no act of the batch tells of: a change never comes without a line, nor with two."""
    told = {fold(name) for act in batch.acts for name in (act.on_what, act.person) if name}
    for change in batch.people:
        words = _PEOPLE_WORDS.get(type(change))
        name = _name(change)
        if words is None or fold(name) in told:
            continue
        role = {"role": str(change.role)} if isinstance(change, PersonAdded | RoleSet) else {}
        at_ms = getattr(change, "at_ms", batch.newest_ms)
        yield AuditEntry(at_ms=at_ms, who=SYSTEM, kind=AuditKind.ACT, about=name, what=words, detail=role)


def _name(change: PeopleChange) -> str:
    return change.name if isinstance(change, PersonAdded) else str(getattr(change, "key", ""))


def _inventory(change: InventoryChange, before: Inventory) -> Iterator[AuditEntry]:
    """One line for each item that came, went or became another, with old and new of what differs."""
    for kind, items, held in (
        ("room", change.inventory.rooms, before.rooms),
        ("box", change.inventory.boxes, before.boxes),
        ("spool", change.inventory.spools, before.spools),
        ("oven", change.inventory.ovens, before.ovens),
    ):
        old, new = _texts(held), _texts(items)
        for key in sorted({*old, *new}):
            was, now = old.get(key), new.get(key)
            if was == now:
                continue
            what = "entered" if was is None else "taken out" if now is None else "changed"
            yield AuditEntry(
                at_ms=change.at_ms,
                who=CONSOLE,  # inventories are loaded by a command, nowhere else
                kind=AuditKind.INVENTORY,
                about=key,
                what=f"{kind} {what}",
                detail=_differing(was or {}, now or {}),
            )


def _texts(items: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    return {key: asdict(item) for key, item in items.items()}


def _differing(was: dict[str, Any], now: dict[str, Any]) -> dict[str, object]:
    names = [name for name in sorted({*was, *now}) if was.get(name) != now.get(name)]
    return {
        "old": {n: was.get(n) for n in names if n in was},
        "new": {n: now.get(n) for n in names if n in now},
    }


def _events(batch: Batch) -> Iterator[AuditEntry]:
    told: list[tuple[str, str, Any]] = [
        *(("spool", event.spool, event) for event in batch.events),
        *(("box", event.box, event) for event in batch.box_events),
        *(("sensor", event.channel, event) for event in batch.sensor_events),
    ]
    for thing, key, event in told:
        correction = "" if event.replaces is None else f", in place of record {event.replaces}"
        yield AuditEntry(
            at_ms=round(event.entered_s * 1000),
            who=event.who,
            kind=AuditKind.HISTORY,
            about=key,
            what=f"told of {thing} {key}: {event.what.kind}{correction}",
            detail={
                "record": event.event_id,
                "replaces": event.replaces,
                "happened_ms": round(event.at_s * 1000),
                **asdict(event.what),
            },
        )


def _figures(batch: Batch) -> Iterator[AuditEntry]:
    """Of materials; those of the alarm table come with lines of the desk's own."""
    for figure in batch.figures:
        yield AuditEntry(
            at_ms=batch.newest_ms if figure.at_s is None else round(figure.at_s * 1000),
            who=figure.who,
            kind=AuditKind.FIGURE,
            about=figure.material,
            what=f"{'withdrew' if figure.value is None else 'set'} {figure.figure} of {figure.material}",
            detail={"figure": figure.figure, "new": figure.value, "why": figure.why},
        )


def _ovens(batch: Batch) -> Iterator[AuditEntry]:
    for record in batch.ovens.records:
        more = {"record": str(record.kind), "cycle": record.cycle, "rule": record.rule}
        yield AuditEntry(
            at_ms=round(record.at_wall_s * 1000),
            who=record.who or SYSTEM,
            kind=AuditKind.OVEN,
            about=record.oven,
            what=record.what,
            detail={name: value for name, value in more.items() if value is not None},
        )
    for fact in batch.ovens.facts:
        yield AuditEntry(
            at_ms=round(fact.at_s * 1000),
            who=fact.who,
            kind=AuditKind.OVEN,
            about=fact.oven,
            what=f"stated: {fact.kind}",
            detail={"value": fact.value},
        )
