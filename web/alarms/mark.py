"""The link to the alarms on every page, with how many ask for somebody."""

from collections.abc import Sequence
from dataclasses import dataclass

from flask import Flask, render_template
from markupsafe import Markup

from monitor.model.answers import AlarmAnswer
from monitor.service.alarm_acts import AlarmActs

_ASKING = ("unack", "latchd", "acked", "rtnun")
_URGENT = ("safety", "high")


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    count: int
    aside: int  # put aside: always to be seen how many
    level: str  # "now" | "soon" | ""


def mark_of(alarms: Sequence[AlarmAnswer]) -> Mark:
    """Of all alarms that are not normal."""
    asking = [alarm for alarm in alarms if alarm.state in _ASKING]
    is_now = any(alarm.priority in _URGENT and alarm.state in ("unack", "latchd") for alarm in asking)
    return Mark(
        count=len(asking),
        aside=sum(alarm.state in ("shlvd", "oosrv") for alarm in alarms),
        level="now" if is_now else "soon" if asking else "",
    )


def register(app: Flask, acts: AlarmActs | None) -> None:
    """Gives the templates `alarm_mark()`; the live stream sends the same part again as it changes."""

    def alarm_mark() -> Markup:
        alarms = () if acts is None else acts.desk.answers()
        return Markup(render_template("parts/alarm_mark.html", mark=mark_of(alarms)))

    app.jinja_env.globals["alarm_mark"] = alarm_mark
