"""Jobs to be ready by their times (D-11, P28): the form, and the schedule in words. It starts nothing."""

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass

from monitor.errors import BadInputError, FieldError
from monitor.model.inventory import Inventory
from monitor.oven.ready_by import JobTimes, LoadTimes, Rules, Running, Schedule
from monitor.oven.ready_by_calendar import daily
from monitor.service.planning_ready import Wanted, plan_ready
from monitor.service.queries import Queries
from web.entry import local_text
from web.fields import given
from web.ovens.choose import moment
from web.ovens.desk import Ovens
from web.ovens.planned import begins_s
from web.ovens.words import IS_ON, ends_s, lasting
from web.present import Presenter

ROWS = 6
_CLOCK = re.compile(r"([01]\d|2[0-3]):[0-5]\d")
_FORM = "%a %d %b %H:%M"
_DAYS = 61  # as far as a job may lie ahead; each with its own hours, over changes of the clocks


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line of the form, as typed."""

    number: int
    spool: str
    due: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadLine:
    """One load of the schedule."""

    oven: str
    oven_key: str
    keys: tuple[str, ...]
    names: str
    starts: str
    ends: str
    latest: str
    start_at: str  # as a form says it; empty = it is for now
    start_words: str
    ready_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class JobLine:
    name: str
    words: str
    is_late: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    headline: str
    loads: tuple[LoadLine, ...]
    jobs: tuple[JobLine, ...]
    impossible: tuple[str, ...]
    fine: str


def rows(args: Mapping[str, str]) -> tuple[Row, ...]:
    """As they were typed."""
    return tuple(
        Row(number=n, spool=given(args, f"spool{n}")[:70], due=given(args, f"due{n}")[:25])
        for n in range(1, ROWS + 1)
    )


def wanted(
    args: Mapping[str, str], inventory: Inventory, present: Presenter, now_s: float
) -> tuple[Wanted, ...]:
    """The jobs; FieldError names the line that is wrong."""
    jobs: list[Wanted] = []
    for row in rows(args):
        if not row.spool and not row.due:
            continue
        if row.spool not in inventory.spools:
            raise FieldError(f"spool{row.number}", "is no spool of the inventory")
        if any(job.spool == row.spool for job in jobs):
            raise FieldError(f"spool{row.number}", "is named twice")
        due_s = moment(args, f"due{row.number}", present, now_s)
        if due_s is None:
            raise FieldError(f"due{row.number}", "is missing")
        jobs.append(Wanted(spool=row.spool, due_s=due_s, is_pinned=given(args, "pinned") == "yes"))
    return tuple(jobs)


def rules(args: Mapping[str, str], present: Presenter, now_s: float) -> Rules:
    """Hours of the day in which somebody is there; none said = any."""
    texts = [given(args, name) for name in ("from", "to")]
    if not any(texts):
        return Rules()
    for name, text in zip(("from", "to"), texts, strict=True):
        if not _CLOCK.fullmatch(text):
            raise FieldError(name, f"is {text[:10]!r}; write a time such as 08:30")
    today = present.local(now_s)
    begin, end = (dt.time.fromisoformat(text) for text in texts)
    assert today.tzinfo is not None  # local to a zone
    return Rules(attended=daily(today.date(), _DAYS, begin, end, today.tzinfo))


def schedule(
    queries: Queries, ovens: Ovens, jobs: tuple[Wanted, ...], hours: Rules, now_s: float
) -> Schedule:
    """The schedule round what runs already; BadInputError where no moment is left."""
    running = tuple(
        Running(oven=look.key, end_s=ends_s(look, now_s))
        for look in ovens.looks()
        if look.left_s is not None and look.phase in IS_ON
    )
    try:
        return plan_ready(queries, jobs, rules=hours, running=running)
    except ValueError as error:
        raise BadInputError(str(error)) from None


def told(made: Schedule, inventory: Inventory, present: Presenter, now_s: float) -> Told:
    """In words: what to start when in which oven, and how much slack there is."""
    names = {key: spool.name for key, spool in inventory.spools.items()}
    late = [job for job in made.jobs if job.late_s > 0.0]
    if made.impossible:
        headline = f"{len(made.impossible)} cannot be dried in any of these ovens."
    elif late:
        headline = f"{len(late)} of {len(made.jobs)} will be late, {lasting(made.late_s)} in all."
    else:
        headline = "All of it is ready in time."
    exact = (
        "No order of loads does better." if made.is_exact else f"At most {lasting(made.gap_s)} from the best."
    )
    return Told(
        headline=headline,
        loads=tuple(_load(load, made, inventory, present, now_s) for load in made.loads),
        jobs=tuple(_job(job, names, present) for job in made.jobs),
        impossible=tuple(names.get(key, key) for key in made.impossible),
        fine=f"{exact} Each time is the 90th percentile, cooling included.",
    )


def _load(
    load: LoadTimes, made: Schedule, inventory: Inventory, present: Presenter, now_s: float
) -> LoadLine:
    slack = (
        "at once: there is no slack"
        if load.slack_s < 60.0
        else (f"{present.clock(load.latest_s, _FORM)} at the latest, {lasting(load.slack_s)} of slack")
    )
    names = {key: spool.name for key, spool in inventory.spools.items()}
    due_s = min(job.due_s for job in made.jobs if job.key in load.jobs)
    at_s = begins_s(load.start_s, load.latest_s, now_s)
    return LoadLine(
        oven=inventory.ovens[load.oven].name,
        oven_key=load.oven,
        keys=load.jobs,
        names=", ".join(names[key] for key in load.jobs),
        starts=present.clock(load.start_s, _FORM),
        ends=f"cool {present.clock(load.end_s, _FORM)}, out {present.clock(load.finish_s, '%H:%M')}",
        latest=slack,
        start_at="" if at_s is None else local_text(present, at_s),
        start_words="" if at_s is None else present.clock(at_s, _FORM),
        ready_by=local_text(present, due_s),
    )


def _job(job: JobTimes, names: Mapping[str, str], present: Presenter) -> JobLine:
    ready = present.clock(job.finish_s, _FORM)
    if job.late_s > 0.0:
        earliest = present.clock(job.earliest_s, _FORM)
        words = f"ready {ready}: {lasting(job.late_s)} late; {earliest} if it went first"
    else:
        words = f"ready {ready}: {lasting(job.slack_s)} before its time"
    return JobLine(name=names[job.key], words=words, is_late=job.late_s > 0.0)
