"""What is to be dried, read out of an address: spools or desiccant, the goal, and what is asked less of."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

from werkzeug.datastructures import MultiDict

from monitor.errors import BadInputError, FieldError, RefusedError
from monitor.model.inventory import Inventory
from monitor.model.plan import Goal, Plan, Refused, Regeneration, When
from monitor.service.planning import Desiccant, plan_in_oven
from monitor.service.queries import Queries
from web.entry import local_text
from web.fields import given, needed, number, one_of
from web.present import Presenter

SPOOLS_MOST = 40
FAR_S = 60 * 86_400.0
LABELS = {
    "spool": "The spool",
    "target_pct": "The target",
    "ready_by": "The time to be ready by",
    "desiccant": "The desiccant",
    "dry_g": "Its dry mass",
    "loading_pct": "Its water",
    "hours": "The time to run",
    "at_c": "The temperature",
    "people": "Who stays with it",
    "resume": "The cycle to go on with",
    "start_at": "The time to start",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A wish for a plan."""

    spools: tuple[str, ...] = ()
    desiccant: str = ""
    dry_g: float | None = None
    loading_pct: float | None = None
    target_pct: float | None = None
    ready_by_s: float | None = None
    hours: float | None = None  # less than the plan's
    at_c: float | None = None  # lower than the plan's
    people: str = ""  # stay | leave
    resume: str = ""

    @property
    def is_something(self) -> bool:
        return bool(self.spools or self.desiccant)

    def load(self) -> tuple[str, ...] | Desiccant:
        if not self.desiccant:
            return self.spools
        charge = Regeneration(dry_g=self.dry_g or 0.0, loading_pct=self.loading_pct)
        return Desiccant(kind=self.desiccant, charge=charge)

    def query(self, present: Presenter) -> dict[str, object]:
        """As the address of the page, or the fields of its form, say it again."""
        ready = None if self.ready_by_s is None else local_text(present, self.ready_by_s)
        members: dict[str, object] = {
            "spool": list(self.spools), "desiccant": self.desiccant, "dry_g": self.dry_g,
            "loading_pct": self.loading_pct, "target_pct": self.target_pct, "ready_by": ready,
            "hours": self.hours, "at_c": self.at_c, "people": self.people, "resume": self.resume,
        }  # fmt: skip
        return {name: value for name, value in members.items() if value not in (None, "", [])}


def asked(args: "MultiDict[str, str]", inventory: Inventory, present: Presenter, now_s: float) -> Asked:
    """The wish; FieldError names the field that is wrong."""
    spools = tuple(args.getlist("spool"))[: SPOOLS_MOST + 1]
    if len(spools) > SPOOLS_MOST or len(set(spools)) != len(spools):
        raise FieldError("spool", f"is named twice, or more than {SPOOLS_MOST} are named")
    for key in spools:
        if key not in inventory.spools:
            raise FieldError("spool", f"{key[:40]!r} is not in the inventory")
    desiccant = given(args, "desiccant")
    if spools and desiccant:
        raise FieldError("desiccant", "goes into the oven alone, never beside spools")
    return Asked(
        spools=spools,
        desiccant=desiccant[:60],
        dry_g=_within(needed(args, "dry_g", "1 to 20 000 g"), "dry_g", 1.0, 20_000.0) if desiccant else None,
        loading_pct=_between(args, "loading_pct", 0.0, 60.0) if desiccant else None,
        target_pct=_between(args, "target_pct", 0.0, 20.0),
        ready_by_s=moment(args, "ready_by", present, now_s),
        hours=_between(args, "hours", 0.1, 48.0),
        at_c=_between(args, "at_c", 30.0, 120.0),
        people=one_of(args, "people", "", ("", "stay", "leave")),
        resume=given(args, "resume")[:80],
    )


def plan(queries: Queries, oven: str, wish: Asked) -> Plan | Refused:
    """The plan as of now; BadInputError or RefusedError say why there is none."""
    return plan_in_oven(
        queries,
        oven,
        wish.load(),
        Goal(target_pct=wish.target_pct),
        When(now_s=queries.now_s(), ready_by_s=wish.ready_by_s),
    )


def moment(args: Mapping[str, str], name: str, present: Presenter, now_s: float) -> float | None:
    """A local date and time to come."""
    text = given(args, name)
    if not text:
        return None
    try:
        value = dt.datetime.fromisoformat(text)
    except ValueError:
        value = None
    if value is None or value.tzinfo is not None or not 2000 <= value.year < 2100:
        raise FieldError(name, f"is {text[:25]!r}; write a date and a time such as 2026-11-25 18:00")
    at_s = value.replace(tzinfo=present.local(now_s).tzinfo).timestamp()
    if not now_s < at_s < now_s + FAR_S:
        raise FieldError(name, "must lie ahead, within 60 days")
    return at_s


def fault(error: BadInputError | RefusedError) -> str:
    """What is wrong, by the page's own names."""
    if isinstance(error, FieldError):
        return f"{LABELS.get(error.field, error.field)} {error.fault}."
    text = str(error)
    return f"{text[:1].upper()}{text[1:].rstrip('.')}."


def _between(args: Mapping[str, str], name: str, lowest: float, highest: float) -> float | None:
    value = number(args, name, f"{lowest:g} to {highest:g}")
    return None if value is None else _within(value, name, lowest, highest)


def _within(value: float, name: str, lowest: float, highest: float) -> float:
    if not lowest <= value <= highest:
        raise FieldError(name, f"is {value:g}; allowed are {lowest:g} to {highest:g}")
    return value
