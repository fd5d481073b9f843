"""One oven as its page parts show it, finished words only; rendered once for all who watch."""

from collections.abc import Iterable
from dataclasses import dataclass

from monitor.model.answers import OvenAnswer
from monitor.model.cycle import Cycle
from monitor.model.oven_look import OvenLook
from web.ovens import words
from web.ovens.desk import Ovens, heard
from web.ovens.trend import Trends
from web.present import Age, Presenter

DUE_S = 5.0  # a page takes what is older than twice this for old, as B-16 and the contract's 10 s do


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """The live part of an oven."""

    key: str
    name: str
    state: str  # fresh | stale | never
    level: str  # now | check | ""
    headline: str
    figure: str
    hot: str
    hot_mark: str  # yes | no | unknown
    age: Age
    stop: tuple[str, ...]  # what is seen of a stop that was asked
    stop_age: Age | None
    must_unplug: bool
    runs: tuple[str, ...]
    share: str | None  # of its time [%]
    facts: tuple[tuple[str, str], ...]
    nexts: tuple[tuple[str, str], ...]  # (endpoint, words)
    is_heating: bool


class Views:
    """Makes them."""

    def __init__(self, ovens: Ovens, present: Presenter) -> None:
        self._ovens = ovens
        self._present = present
        self._trends = Trends()

    @property
    def can_stop(self) -> bool:
        return self._ovens.desk is not None

    def all(self, now_s: float) -> tuple[View, ...]:
        """Trips and stops without effect first, then what heats (R: trips first)."""
        return self._ordered(self._ovens.looks(), now_s)

    def heard(self, answers: Iterable[OvenAnswer], now_s: float) -> tuple[View, ...]:
        """The same from what controllers said, where nobody minds the ovens."""
        return self._ordered([heard(answer) for answer in answers], now_s)

    def _ordered(self, looks: Iterable[OvenLook], now_s: float) -> tuple[View, ...]:
        views = [self.view(look, now_s) for look in looks]
        order = {"now": 0, "check": 1, "": 2}
        return tuple(sorted(views, key=lambda view: (order[view.level], not view.is_heating)))

    def bar(self, views: tuple[View, ...]) -> tuple[View, ...]:
        """Those for which stop stands on every page; none where nobody could pass a stop on."""
        return tuple(view for view in views if view.is_heating and self.can_stop)

    def view(self, look: OvenLook, now_s: float) -> View:
        """All words of one oven."""
        change_c = self._trends.change_c(look, now_s)
        asked_s = look.stop_asked_s
        return View(
            key=look.key,
            name=look.name,
            state="never" if look.age_s is None else "fresh" if look.is_fresh else "stale",
            level=words.level(look),
            headline=words.headline(look),
            figure="" if look.hottest_c is None else f"{look.hottest_c:.0f} °C",
            hot=words.hot_words(look),
            hot_mark=_hot_mark(look),
            age=self._ago(look.age_s, now_s, DUE_S),
            stop=words.stop_effect(look, change_c),
            stop_age=None if asked_s is None else self._ago(asked_s, now_s, None),
            must_unplug=asked_s is not None and asked_s >= words.PLUG_AFTER_S,
            runs=self._runs(look, now_s),
            share=_share(look),
            facts=_facts(look, change_c),
            nexts=_nexts(look, has_desk=self._ovens.desk is not None),
            is_heating=words.is_heating(look),
        )

    def _ago(self, age_s: float | None, now_s: float, due_s: float | None) -> Age:
        return self._present.age(None if age_s is None else now_s - age_s, due_s, now_s)

    def _runs(self, look: OvenLook, now_s: float) -> tuple[str, ...]:
        """What runs, how long still, who started it; else how the last one ended."""
        cycle = look.cycle
        if cycle is None:
            if look.ended is None:
                return ()
            when = self._present.clock(look.ended.ended_wall_s)
            return (f"{words.ended(look.ended)} {when}. {look.ended.why}".rstrip(),)
        inside = ", ".join(item.name for item in cycle.load) or "nothing named"
        started = self._present.clock(cycle.started_wall_s, "%H:%M")
        said = [f"{inside}. Started by {cycle.who} at {started}, {_mode(cycle)}."]
        if look.left_s is not None and look.phase in words.IS_ON:
            end = self._present.clock(words.ends_s(look, now_s))
            said.append(
                f"{words.lasting(look.left_s)} of {words.lasting(cycle.duration_s)} left, until {end}."
            )
            said += _by_water(look, self._present)
        return tuple(said)


def _by_water(look: OvenLook, present: Presenter) -> list[str]:
    """D-13: how far it has got by its water, whether the time will do, and that it is dry."""
    cycle, progress = look.cycle, look.progress
    if cycle is not None and cycle.dry_since_wall_s is not None:
        since = present.clock(cycle.dry_since_wall_s, "%H:%M")
        return [
            f"It is dry: since {since} it is only held at {cycle.setpoint_c:g} °C, so that it stays so."
            " Take it out; opening the door ends the heat."
        ]
    return [] if progress is None else list(progress.said)


def _hot_mark(look: OvenLook) -> str:
    """What was hot is hot until it is heard to be cold; what is not heard is never cold."""
    if look.is_hot:
        return "yes"
    return "no" if look.is_hot is False and look.is_fresh else "unknown"


def _mode(cycle: Cycle) -> str:
    mode = "unattended" if cycle.is_unattended else "somebody stays with it"
    return mode if cycle.is_armed_locally else f"{mode}, not locally armed"


def _share(look: OvenLook) -> str | None:
    cycle = look.cycle
    if cycle is None or look.left_s is None or look.phase not in words.IS_ON or cycle.duration_s <= 0.0:
        return None
    return f"{100.0 * min(max(1.0 - look.left_s / cycle.duration_s, 0.0), 1.0):.0f}"


def _facts(look: OvenLook, change_c: float | None) -> tuple[tuple[str, str], ...]:
    sensors = ", ".join(celsius for celsius in map(words.celsius, look.chamber_c)) or "none heard"
    hottest = words.temperature_course(look, change_c).rstrip(".") or "not known"
    facts = [] if look.is_fresh else [("Mind", "all of this is as it was when last heard")]
    facts += [("Sensors", sensors), ("Hottest", hottest)]
    if look.cycle is not None:
        facts += _cycle_facts(look.cycle)
    if look.heater is not None:
        power = "power not measured" if look.power_w is None else f"{look.power_w:.0f} W"
        facts.append(("Heater", f"{100.0 * look.heater:.0f} %, {power}"))
    if look.permit_left_s is not None:
        facts.append(("Permit to heat", f"runs out in {look.permit_left_s:.0f} s unless renewed"))
    for name, value, yes, no in (
        ("Fan", look.fan, "turns", "stands still"),
        ("Door", look.door_open, "open", "shut"),
    ):
        if value is not None:
            facts.append((name, yes if value else no))
    facts.append(("Remote start", words.arming(look)))
    if look.refused:
        facts.append(("Last refused", look.refused))
    return tuple(facts)


def _cycle_facts(cycle: Cycle) -> list[tuple[str, str]]:
    lowered = (
        "" if cycle.setpoint_c == cycle.asked_setpoint_c else f", lowered from {cycle.asked_setpoint_c:g} °C"
    )
    return [
        ("Set-point", f"{cycle.setpoint_c:g} °C{lowered}"),
        ("Cut at", f"{cycle.ceiling_c:g} °C: {cycle.limited_by} stands {cycle.limit_c:g} °C"),
    ]


def _nexts(look: OvenLook, *, has_desk: bool) -> tuple[tuple[str, str], ...]:
    """What may come next, as links: the page behind it says whether it may."""
    if not has_desk:
        return ()
    if look.trip is not None:
        return (("ovens.reset", "Look at the fault, reset it"),)
    if look.phase in words.IS_ON:
        may_go_on = look.cycle is not None and look.is_fresh and look.stop_asked_s is None
        is_short = look.progress is not None and look.progress.short_by_s is not None
        longer = "Give it longer: its time will not do" if is_short else "Give it longer"
        return (("ovens.longer", longer),) if may_go_on else ()
    out = (("ovens.out", "Take out"),) if look.load else ()
    return (*out, ("ovens.dry", "Dry something"))
